"""One engineering prefix and one number of decimals for values that stand together, so that they compare."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from batchtest.nouns import Limit, Line, Reading

_PREFIXES = {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "u", -9: "n"}
_MOST_DECIMALS = 6
#: What stands where a reading is not judged by any bound.
NO_LIMIT = "no limit"


@dataclass(frozen=True, slots=True)
class Scale:
    """How values of one unit are written: in `10 ** power` of the base unit, with a fixed number of decimals.

    >>> Scale("V", -3, 1).of(0.0123)
    '12.3 mV'
    >>> Scale("%", -2, 2).of(0.0123)
    '1.23 %'
    """

    unit: str
    power: int
    decimals: int

    @property
    def written(self) -> str:
        """The unit with its prefix, such as "mV"."""
        return self.unit if self.unit == "%" else _PREFIXES[self.power] + self.unit

    def number(self, value: float) -> str:
        """The number alone, without its unit."""
        text = f"{value / 10.0**self.power:.{self.decimals}f}"
        return text.removeprefix("-") if not text.strip("-0.") else text

    def bound(self, value: float) -> str:
        """A limit's number, without the zeros that say nothing."""
        text = f"{value / 10.0**self.power:.{max(self.decimals, 3)}f}".rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text

    def of(self, value: float) -> str:
        """The number with its unit."""
        return f"{self.number(value)} {self.written}"

    def reading(self, reading: Reading) -> str:
        """What a reading came to, in words where there is no number."""
        if reading.value is not None and math.isfinite(reading.value):
            return self.of(reading.value)
        if reading.beyond is not None:
            beyond = scale_for([abs(reading.beyond)], self.unit)
            return f"> {beyond.bound(reading.beyond)} {beyond.written}"
        return "no reading"

    def limits(self, limit: Limit | None) -> str:
        """Both bounds, or the one there is: "4.9 to 5.1 V", "≤ 5 ohm"."""
        match (limit.lower, limit.upper) if limit else (None, None):
            case (float() | int() as lower, float() | int() as upper):
                return f"{self.bound(lower)} to {self.bound(upper)} {self.written}"
            case (float() | int() as lower, None):
                return f"≥ {self.bound(lower)} {self.written}"
            case (None, float() | int() as upper):
                return f"≤ {self.bound(upper)} {self.written}"
            case _:
                return NO_LIMIT


def scale_for(sizes: Iterable[float], unit: str, uncertainties: Sequence[float] = ()) -> Scale:
    """Choose a scale for magnitudes in the base unit: the largest uncertainty shows two digits, the smallest one.

    >>> scale_for([4.9, 5.1], "V", [0.0004]).of(4.98123456)
    '4.98123 V'
    """
    largest = max((size for size in sizes if math.isfinite(size)), default=0.0)
    power = -2 if unit == "%" else min(9, max(-9, 3 * math.floor(_magnitude(largest) / 3)))
    if uncertainties:
        least, most = (_magnitude(pick(uncertainties) / 10.0**power) for pick in (min, max))
        decimals = max(1 - most, -least)
    else:
        decimals = 3 - _magnitude(largest / 10.0**power)
    return Scale(unit, power, min(_MOST_DECIMALS, max(0, decimals)))


def scale_of(lines: Iterable[Line]) -> Scale:
    """The scale of lines that share a unit: by their bounds, and by their values where nothing is bounded."""
    together = list(lines)
    bounds = [abs(bound) for line in together for bound in _bounds(line.measurement.limit)]
    values = [abs(line.reading.value) for line in together if line.reading.value is not None]
    known = [line.reading.uncertainty for line in together if line.reading.uncertainty]
    return scale_for(bounds or values, together[0].measurement.unit, known)


def _bounds(limit: Limit | None) -> Iterator[float]:
    if limit is not None:
        yield from (bound for bound in (limit.lower, limit.upper) if bound is not None)


def _magnitude(number: float) -> int:
    return math.floor(math.log10(number)) if number > 0 else 0
