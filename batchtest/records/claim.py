"""The claim on a number: made by exclusive create, so that two stations on one folder never share one.

Whoever claims also holds a lock on the part file, which the kernel drops with its holder: that is how a station that
lives is told from one that died.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

from batchtest.records.names import CSV, PART, AttemptName, attempt_files


def claim_part(folder: Path, serial: str) -> tuple[AttemptName, int]:
    """Create the part file of the next attempt and give its name and the open file.

    The next attempt is the one after the highest of which any file is there. Where another station creates or closes
    that one first, it is the next after.

    Raises
    ------
    OSError : the disk does not take it.
    """
    first = 1 + max((name.number for name, _ in attempt_files(folder) if name.serial == serial), default=0)
    number, file = claim_number(first, lambda number, ending: AttemptName(serial, number).path(folder, ending))
    return AttemptName(serial, number), file


def claim_number(first: int, path: Callable[[int, str], Path], final: str = CSV, part: str = PART) -> tuple[int, int]:
    """Create the part file of the first free number from `first` on, and give the number and the open file.

    Parameters
    ----------
    path : path of the file of a number with an ending.
    final, part : ending of a file that is finished, and of one that grows.

    Raises
    ------
    OSError : the disk does not take it.
    """
    number = first
    while True:
        growing = path(number, part)
        try:
            file = os.open(growing, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
        except FileExistsError:
            number += 1
            continue
        try:
            if held(file, unsure=True) and is_file(file, growing):
                if not path(number, final).exists():
                    return number, file
                if is_file(file, growing):  # another station finished this number between the look and the create,
                    growing.unlink(missing_ok=True)  # and may be taking away what it left, which bears this name
        except OSError:
            os.close(file)
            raise
        os.close(file)
        number += 1


def held(file: int, *, unsure: bool) -> bool:
    """Take the lock of an open part file, for as long as it is open; `False` where somebody who lives has it.

    Parameters
    ----------
    unsure : what to say on a disk that knows no locks, where nobody can be told to be alive or dead.
    """
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return unsure
    return True


def is_file(file: int, path: Path) -> bool:
    """Whether an open file still has this name."""
    try:
        return os.path.samestat(os.fstat(file), path.stat())
    except FileNotFoundError:
        return False
