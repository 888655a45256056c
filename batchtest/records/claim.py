"""The claim on an attempt number: made by exclusive create, so that two stations on one folder never share one."""

from __future__ import annotations

import os
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
    number = 1 + max((name.number for name, _ in attempt_files(folder) if name.serial == serial), default=0)
    while True:
        name = AttemptName(serial, number)
        part = name.path(folder, PART)
        try:
            file = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
        except FileExistsError:
            number += 1
            continue
        if not name.path(folder, CSV).exists():
            return name, file
        os.close(file)  # another station closed this number between the look and the create
        part.unlink()
        number += 1
