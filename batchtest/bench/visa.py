"""The one VISA manager of a bench: pyvisa-py with our session classes, or the VISA that is installed on the machine."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from typing import TYPE_CHECKING

from batchtest.errors import SetupError

if TYPE_CHECKING:
    import pyvisa

#: Gives each manager of pyvisa-py a path of its own; pyvisa shares managers of one path, and closes them together.
_NUMBERS = count(1)


@contextmanager
def visa_manager(name: str, backend: str = "@py") -> Iterator[pyvisa.ResourceManager]:
    """A manager that is closed when the block is left, after all instruments.

    Parameters
    ----------
    name : of the bench.
    backend : "@py", or "@ivi" for a system VISA, whose managers are all one.

    Raises
    ------
    SetupError : no system VISA is installed.
    """
    manager = _system_manager() if backend == "@ivi" else _own_manager(name)
    try:
        yield manager
    finally:
        manager.close()


def _own_manager(name: str) -> pyvisa.ResourceManager:
    import pyvisa

    from batchtest.bench.sessions import install

    install()
    return pyvisa.ResourceManager(f"{name}-{next(_NUMBERS)}@py")


def _system_manager() -> pyvisa.ResourceManager:
    import pyvisa
    from pyvisa.errors import Error

    try:
        return pyvisa.ResourceManager("@ivi")
    except (OSError, ValueError, Error) as error:
        said = " ".join(str(error).split())
        raise SetupError(
            f'visa = "@ivi" wants a system VISA, and none works here ({said}); install one, or leave visa out '
            "of the bench file: without it pyvisa-py reaches sockets, serial lines, HiSLIP and VXI-11"
        ) from error
