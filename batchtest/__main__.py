"""`python -m batchtest`."""

from batchtest.commands import main

__all__ = ["main"]

if __name__ == "__main__":
    main()
