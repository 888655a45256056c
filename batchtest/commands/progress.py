"""A bar for what takes longer than a second, on stderr, where that is a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Told how many are done, and of how many.
Told = Callable[[int, int], None]


@contextmanager
def progress(what: str, *, shown: bool) -> Iterator[Told]:
    """Show a bar until the block ends; where nobody would see one, what is told goes nowhere."""
    from rich.console import Console
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    with Bar(console=console, transient=True, disable=not (shown and console.is_terminal)) as bar:
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
