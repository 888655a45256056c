"""Serials as the person gives them: a range "VN-0001..VN-0020", single ones with commas, or typed one after another."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress

from batchtest.errors import SetupError
from batchtest.records.names import checked_name

_NUMBERED = re.compile(r"(.*?)(\d+)")


def expand(text: str) -> list[str]:
    """All serials of "A..B" or "A,B,C..D", in order.

    Raises
    ------
    SetupError : the ends of a range do not share a prefix and a number of digits, or run backwards; a serial twice.

    Examples
    --------
    >>> expand("VN-0009..VN-0011,VN-0020")
    ['VN-0009', 'VN-0010', 'VN-0011', 'VN-0020']
    """
    serials = [serial for part in text.split(",") for serial in _expand_part(part.strip())]
    twice = sorted({serial for serial in serials if serials.count(serial) > 1})
    if twice:
        raise SetupError(f"--serials {text!r} names {', '.join(twice)} twice; name each once")
    return serials


def as_range(serials: list[str]) -> str:
    """Write serials so that `expand` gives them back: as a range where they are one, else with commas.

    >>> as_range(["VN-0002", "VN-0003"]), as_range(["VN-0002", "VN-0007"])
    ('VN-0002..VN-0003', 'VN-0002,VN-0007')
    """
    with suppress(SetupError):
        if list(_expand_part(f"{serials[0]}..{serials[-1]}")) == serials:
            return f"{serials[0]}..{serials[-1]}"
    return ",".join(serials)


def checked(serial: str, pattern: str, board: str) -> str:
    """Give a serial back if it is one of this board type and safe as a file name; refuse it else, never mend it."""
    if re.fullmatch(pattern, serial) is None:
        raise SetupError(f"{serial!r} is no serial of {board}: those look like {pattern}")
    return checked_name(serial, "serial")


def _expand_part(part: str) -> Iterator[str]:
    first, dots, last = part.partition("..")
    if not dots:
        yield part
        return
    start, end = _NUMBERED.fullmatch(first), _NUMBERED.fullmatch(last)
    if start is None or end is None or start[1] != end[1] or len(start[2]) != len(end[2]) or start[2] > end[2]:
        raise SetupError(f"--serials {part!r} is no range; write it such as 'VN-0001..VN-0020'")
    for number in range(int(start[2]), int(end[2]) + 1):
        yield f"{start[1]}{number:0{len(start[2])}}"
