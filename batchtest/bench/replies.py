"""What an instrument's reply says, read strictly: a reply that is not what was asked for is an error, never a guess."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection

from batchtest.errors import InstrumentReplyError

#: NR1, NR2 and NR3 of IEEE 488.2, with what NRf allows of a bare point.
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[Ee][+-]?\d+)?", re.ASCII)
#: SCPI-1999 vol. 1, 7.2.1: +-9.9E37 stands for infinity, 9.91E37 for not-a-number; with room for a coarse format.
INFINITE_FROM = 9.8e37
NOT_A_NUMBER_FROM = 9.905e37
_CHANNELS = re.compile(r"\(@([^()@]*)\)")
_PLAIN_CHANNELS = re.compile(r"([^()@]*)")


def parse_number(
    text: str, *, over_range: Collection[str] = (), units: Collection[str] = (), decimal: str = "."
) -> float:
    """Read one number.

    Parameters
    ----------
    text : the reply, such as "+1.2E+00", "5" or "-3.4"; blanks round it are dropped.
    over_range : texts that stand for over range.
    units : units that may follow the number and are dropped, such as "V".
    decimal : the sign before decimals; a dot is none where it is the comma.

    Returns
    -------
    The number; +-inf where the instrument says over range, nan where it says that it has no number.

    Raises
    ------
    InstrumentReplyError : the reply is no number.

    Examples
    --------
    >>> parse_number("+1.2E+00")
    1.2
    >>> parse_number("-9.90000000E+37")
    -inf
    """
    stripped = text.strip(" \t")
    if stripped in over_range:
        return math.inf
    if stripped.upper() == "NAN":
        return math.nan
    number = next((stripped.removesuffix(unit).rstrip() for unit in units if stripped.endswith(unit)), stripped)
    if decimal != ".":
        number = number.replace(".", "?").replace(decimal, ".")
    if _NUMBER.fullmatch(number) is None:
        raise InstrumentReplyError(f"{text!r} is not a number such as '+1.2E+00'; check the dialect")
    return _special(float(number))


def _special(number: float) -> float:
    if abs(number) >= NOT_A_NUMBER_FROM:
        return math.nan
    if abs(number) >= INFINITE_FROM:
        return math.copysign(math.inf, number)
    return number


def parse_numbers(
    text: str,
    count: int,
    *,
    over_range: Collection[str] = (),
    units: Collection[str] = (),
    decimal: str = ".",
    separator: str = ",",
) -> tuple[float, ...]:
    """Read `count` numbers joined by the separator, each as `parse_number` does; any other count is refused."""
    parts = split(text, count, separator)
    return tuple(parse_number(part, over_range=over_range, units=units, decimal=decimal) for part in parts)


def split(text: str, count: int, separator: str = ",") -> list[str]:
    """The values of a reply, which must be `count` of them.

    >>> split("0,1.2", 2)
    ['0', '1.2']
    """
    parts = text.split(separator) if separator.strip() else text.split()
    if len(parts) != count:
        raise InstrumentReplyError(f"{text!r} has {len(parts)} values, {count} were asked for")
    return parts


def parse_whole(text: str) -> int:
    """Read a whole number >= 0, such as a status word; "256", "+256" and "2.56E+02" are the same.

    >>> parse_whole("+256")
    256
    """
    number = parse_number(text)
    if not (math.isfinite(number) and number == int(number) and number >= 0):
        raise InstrumentReplyError(f"{text!r} is not a whole number such as '256'")
    return int(number)


def parse_state(text: str, on: Collection[str], off: Collection[str]) -> bool:
    """Read a switch state; anything but the words for on and off is refused, so that silence is never "off"."""
    word = text.strip(" \t").upper()
    if word in {known.upper() for known in on}:
        return True
    if word in {known.upper() for known in off}:
        return False
    raise InstrumentReplyError(f"{text!r} is neither on ({', '.join(on)}) nor off ({', '.join(off)})")


def _plain_number(name: str) -> int | None:
    return int(name) if name.isdigit() else None


def parse_channels(
    text: str, number: Callable[[str], int | None] = _plain_number, *, brackets: bool = True
) -> frozenset[int]:
    """Read a channel list; `number` knows which channel has which name.

    >>> sorted(parse_channels("(@101,103:105)"))
    [101, 103, 104, 105]
    >>> sorted(parse_channels("101,131", brackets=False))
    [101, 131]
    """
    form = _CHANNELS if brackets else _PLAIN_CHANNELS
    match = form.fullmatch(text.strip(" \t"))
    if match is None:
        raise InstrumentReplyError(f"{text!r} is not a channel list such as '(@101,131)'")
    parts = [part for part in match[1].split(",") if part.strip()]
    return frozenset(channel for part in parts for channel in _span(part, text, number))


def _span(part: str, text: str, number: Callable[[str], int | None]) -> range:
    ends = [number(end.strip()) for end in part.split(":")]
    if len(ends) > 2 or ends[0] is None or ends[-1] is None:
        raise InstrumentReplyError(f"{text!r} is not a channel list such as '(@101,131)'")
    return range(ends[0], ends[-1] + 1)


def parse_string(text: str) -> str:
    """Read a quoted string; a doubled quote inside is one quote.

    >>> parse_string('"VN-0001"')
    'VN-0001'
    """
    stripped = text.strip(" \t")
    quote = stripped[:1]
    inside = stripped[1:-1]
    if len(stripped) < 2 or quote not in "\"'" or stripped[-1] != quote or quote in inside.replace(quote * 2, ""):
        raise InstrumentReplyError(f"{text!r} is not a quoted string such as '\"VN-0001\"'")
    return inside.replace(quote * 2, quote)
