"""What a command takes: converters from the tokens of a message to values, with the standard's errors."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from batchtest.simulated.scpi.errors import ScpiError
from batchtest.simulated.scpi.mnemonics import spellings
from batchtest.simulated.scpi.numbers import parse_number

#: A data element as it stands in the message: text (strings with their quotes, expressions with their brackets), or the
#: bytes of a block.
Token = str | bytes
#: Turns a token into the value that a handler is called with, or raises a `ScpiError`.
Parameter = Callable[[Token], object]

_RANGE = re.compile(r"\s*(\d{1,9})\s*(?::\s*(\d{1,9})\s*)?", re.ASCII)
_LONGEST_RANGE = 1000


class Numeric:
    """A number between bounds, both included, with MINimum, MAXimum and DEFault, in one unit or without."""

    def __init__(self, lower: float, upper: float, *, default: float | None = None, unit: str = "") -> None:
        self.lower = lower
        self.upper = upper
        self.default = default
        self.unit = unit

    def __call__(self, token: Token) -> float:
        """Value in the unit; -222 beyond the bounds, -131 for another unit, -138 where no suffix is taken."""
        text = _plain(token)
        named = {"MIN": self.lower, "MAX": self.upper, "DEF": self.default}
        for word, value in (("MINIMUM", self.lower), ("MAXIMUM", self.upper), ("DEFAULT", self.default)):
            if value is not None and text.upper() in spellings(word):
                return named[word[:3]] or 0.0
        number = parse_number(text)
        if number.unit and number.unit != self.unit:
            raise ScpiError(-131 if self.unit else -138, number.unit)
        if not self.lower <= number.value <= self.upper:
            raise ScpiError(-222, text[:40])
        return number.value


class Integer(Numeric):
    """A number that is rounded to a whole one."""

    def __call__(self, token: Token) -> int:
        """Nearest whole number (IEEE 488.2, 7.7.2.4: a device rounds what it cannot hold)."""
        return round(super().__call__(token))


def boolean(token: Token) -> bool:
    """ON, OFF, or a number that is true unless it rounds to zero (SCPI-99 volume 1, 7.3)."""
    text = _plain(token)
    if text.upper() in ("ON", "OFF"):
        return text.upper() == "ON"
    return abs(parse_number(text).value) >= 0.5


class Choice:
    """One of a few words, in long or short form; comes out in short form."""

    def __init__(self, *words: str) -> None:
        self._known = {form: min(spellings(word), key=len) for word in words for form in spellings(word)}

    def __call__(self, token: Token) -> str:
        """Short form of the word; -224 for one that is not among them."""
        text = _plain(token).upper()
        if text not in self._known:
            raise ScpiError(-224, text[:40])
        return self._known[text]


def string(token: Token) -> str:
    """A quoted string without its quotes; a doubled quote inside is one (IEEE 488.2, 7.7.5)."""
    if isinstance(token, bytes) or token[:1] not in ("'", '"'):
        raise ScpiError(-104, "a quoted string is needed")
    return token[1:-1].replace(token[0] * 2, token[0])


def block(token: Token) -> bytes:
    """The bytes of a block (IEEE 488.2, 7.7.6)."""
    if isinstance(token, str):
        raise ScpiError(-104, "a block is needed")
    return token


class ChannelList:
    """A list such as `(@101,103:105)` (SCPI-99 volume 1, 8.3.2); only channels that the instrument has."""

    def __init__(self, known: frozenset[int] | None = None) -> None:
        self._known = known

    def __call__(self, token: Token) -> tuple[int, ...]:
        """Channels in the order written; -170 no channel list, -171 a bad one, -222 a channel that is not there."""
        if isinstance(token, bytes) or token[:1] != "(":
            raise ScpiError(-104, "a channel list is needed")
        inner = token[1:-1].strip()
        if inner[:1] != "@":
            raise ScpiError(-170, token[:40])
        return tuple(channel for entry in inner[1:].split(",") for channel in self._channels(entry))

    def _channels(self, entry: str) -> Iterator[int]:
        match = _RANGE.fullmatch(entry)
        if match is None:
            raise ScpiError(-171, entry[:40])
        first, last = int(match[1]), int(match[2] or match[1])
        if abs(last - first) > _LONGEST_RANGE:
            raise ScpiError(-222, entry[:40])
        step = 1 if last >= first else -1
        for channel in range(first, last + step, step):
            if self._known is not None and channel not in self._known:
                raise ScpiError(-222, f"channel {channel}")
            yield channel


def _plain(token: Token) -> str:
    if isinstance(token, bytes) or token[:1] in ("'", '"', "("):
        raise ScpiError(-104)
    return token
