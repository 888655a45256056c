"""Names of the files of an attempt, made only from names that are safe on every disk; anything else is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from batchtest.errors import SetupError
from batchtest.files.fields import NAME_PATTERN

CSV = ".csv"
PART = ".csv.part"
METADATA = ".csv-metadata.json"
#: What an attempt is made with, from its claim until it is closed.
BEGUN = ".csv-metadata.json.part"

_ATTEMPT = re.compile(
    r"(?P<serial>.+)\.(?P<number>[1-9][0-9]*)(?P<ending>\.csv|\.csv\.part|\.csv-metadata\.json|\.csv-metadata\.json\.part)"
)
#: Names that one widespread operating system keeps for devices, whatever ending follows them.
_DEVICE = re.compile(r"(?i:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?")


@dataclass(frozen=True, slots=True, order=True)
class AttemptName:
    """A serial and the number of an attempt at it, as its file names carry them."""

    serial: str
    number: int

    @classmethod
    def of(cls, path: Path) -> tuple[AttemptName, str] | None:
        """Read a file name back into its attempt and its ending; `None` where it is no file of an attempt.

        >>> AttemptName.of(Path("VN-0001.2.csv.part"))
        (AttemptName(serial='VN-0001', number=2), '.csv.part')
        """
        match = _ATTEMPT.fullmatch(path.name)
        return match and (cls(match["serial"], int(match["number"])), match["ending"])

    def path(self, folder: Path, ending: str) -> Path:
        """Path of this attempt's file with this ending."""
        return folder / f"{self.serial}.{self.number}{ending}"


def attempt_files(folder: Path) -> Iterator[tuple[AttemptName, str]]:
    """Attempt and ending of every file of an attempt in a batch's folder."""
    for path in folder.iterdir():
        found = AttemptName.of(path)
        if found is not None:
            yield found


def checked_name(name: str, what: str) -> str:
    """Give a name back if it can be part of a file name as it is.

    Raises
    ------
    SetupError : it has other characters than A-Z a-z 0-9 . _ -, does not start with a letter or digit, is longer than
        64, ends with a dot, or is kept for devices on some computers.
    """
    if re.fullmatch(NAME_PATTERN, name) is None or name.endswith("."):
        shown = name if len(name) <= 80 else f"{name[:80]}... ({len(name)} characters)"
        raise SetupError(
            f"{what} {shown!r} cannot be a file name; use 1 to 64 letters, digits, dots, dashes or underscores, "
            "the first a letter or digit, the last no dot"
        )
    if _DEVICE.fullmatch(name):
        raise SetupError(f"{what} {name!r} is kept for devices on some computers; use another name")
    return name
