"""Quantities as people write them, "4.75 V", read strictly and shown with an engineering prefix.

Own code on purpose: the libraries tried read "4,75 V" as 475 V without a word. Values are exact decimals in the base
unit; a percentage is a ratio.
"""

from __future__ import annotations

import math
import re
from datetime import date, time
from decimal import Decimal

#: Base unit -> what may be written -> factor to the base unit. A closed list: "MA" is not "mA", and is refused.
UNITS: dict[str, dict[str, str]] = {
    "V": {"V": "1", "mV": "1e-3", "uV": "1e-6", "kV": "1e3"},
    "A": {"A": "1", "mA": "1e-3", "uA": "1e-6"},
    "A/s": {"A/s": "1", "A/ms": "1e3", "A/us": "1e6"},
    "ohm": {"ohm": "1", "mohm": "1e-3", "kohm": "1e3", "Mohm": "1e6"},
    "ohm/m": {"ohm/m": "1", "mohm/m": "1e-3"},
    "W": {"W": "1", "mW": "1e-3"},
    "s": {"s": "1", "ms": "1e-3", "us": "1e-6", "min": "60", "h": "3600", "d": "86400"},
    "Hz": {"Hz": "1", "kHz": "1e3"},
    "C": {"C": "1"},
    "m": {"m": "1", "mm": "1e-3"},
    "mm2": {"mm2": "1"},
    "%": {"%": "1e-2", "ppm": "1e-6"},
    "%/K": {"%/K": "1e-2", "ppm/K": "1e-6"},
}
#: Base unit -> how a quantity of it looks, for messages.
EXAMPLES: dict[str, str] = {
    "V": "4.75 V",
    "A": "250 mA",
    "A/s": "10 A/ms",
    "ohm": "1.2 kohm",
    "ohm/m": "80 mohm/m",
    "W": "2 W",
    "s": "20 ms",
    "Hz": "50 Hz",
    "C": "23 C",
    "m": "4 m",
    "mm2": "0.25 mm2",
    "%": "2 %",
    "%/K": "5 ppm/K",
}
_WRITTEN = re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?) ?([^\s0-9.]\S*)")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")
_PREFIXES = {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "u", -9: "n"}
_UNPREFIXED = ("C", "1", "m", "mm2")
#: A quotient with this many digits was cut off by the context of Decimal: a third of a minute, say.
_INEXACT_DIGITS = 28


def parse(text: object, unit: str) -> Decimal:
    """Read a quantity such as "4.75 V" into the base unit.

    Parameters
    ----------
    text : what stands in the file; anything but a string is refused.
    unit : the base unit asked for, a key of `UNITS`. A percentage comes back as a ratio.

    Raises
    ------
    ValueError : says what is wrong and what to write instead.

    Examples
    --------
    >>> parse("250 mA", "A")
    Decimal('0.250')
    >>> parse("2 %", "%")
    Decimal('0.02')
    """
    example = EXAMPLES[unit]
    if not isinstance(text, str):
        raise ValueError(f"needs a value with its unit as a string, such as '{example}', got {as_found(text)}")
    if "," in text:
        raise ValueError(f"has a comma; write the decimal point as a dot, such as '{example}', got {as_found(text)}")
    if _NUMBER.fullmatch(text):
        raise ValueError(f"has no unit; write it such as '{example}', got {as_found(text)}")
    match = _WRITTEN.fullmatch(text)
    if match is None:
        raise ValueError(f"is not a number and a unit; write it such as '{example}', got {as_found(text)}")
    number, unit_written = match.groups()
    factor = UNITS[unit].get(unit_written)
    if factor is None:
        known = ", ".join(UNITS[unit])
        raise ValueError(
            f"has the unit {as_found(unit_written)}, which is none of {known}; "
            f"write it such as '{example}', got {as_found(text)}"
        )
    return Decimal(number) * Decimal(factor)


def write(value: Decimal, unit: str) -> str:
    """Write a value the way a person would in a file: exact, short, read by `parse` to the same value.

    >>> write(Decimal("0.040"), "A")
    '40 mA'
    >>> write(Decimal(604800), "s")
    '7 d'
    """
    smallest = Decimal("0.001") if unit.startswith("%") else Decimal(1)
    by_size = sorted(((Decimal(factor), name) for name, factor in UNITS[unit].items()), reverse=True)
    for factor, name in by_size:
        scaled = value / factor
        if smallest <= abs(scaled) < 1000 and len(scaled.as_tuple().digits) < _INEXACT_DIGITS:
            return f"{scaled.normalize():f} {name}"
    return f"{(value / Decimal(UNITS[unit][unit])).normalize():f} {unit}"


def show(value: float | Decimal | None, unit: str, digits: int = 4) -> str:
    """Write a value for people: an engineering prefix, `digits` significant digits, a space, the unit.

    Metres, degrees and plain numbers (unit "1") take no prefix; seconds only those for less than one.

    >>> show(0.0512, "A")
    '51.20 mA'
    >>> show(4.98123, "V", 6)
    '4.98123 V'
    >>> show(0.02, "%")
    '2.000 %'
    >>> show(None, "V")
    'no reading'
    """
    if value is None or not math.isfinite(value):
        return "no reading"
    number = _rounded(float(value), digits)
    if unit.startswith("%"):
        return f"{_fixed(_rounded(number * 100, digits), digits)} {unit}"
    if unit in _UNPREFIXED or number == 0:
        return f"{_fixed(number, digits)} {unit}"
    power = min(0 if unit == "s" else 9, max(-9, 3 * math.floor(_magnitude(number) / 3)))
    return f"{_fixed(number / 10.0**power, digits)} {_PREFIXES[power]}{unit}"


def as_found(value: object) -> str:
    """Quote what stands in a TOML file for a message, cut where it is long; a list or table is only called that.

    >>> as_found("4,75 V"), as_found(True), as_found([1])
    ("'4,75 V'", 'true', 'a list')
    """
    if isinstance(value, list | tuple | dict):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, bool):
        return str(value).lower()
    text = value.isoformat() if isinstance(value, date | time) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _rounded(number: float, digits: int) -> float:
    """Round to significant digits, so that 999.96 is known to need the next prefix; a zero loses its sign."""
    return float(f"{number:.{digits - 1}e}") + 0.0


def _fixed(number: float, digits: int) -> str:
    return f"{number:.{max(0, digits - 1 - _magnitude(number))}f}"


def _magnitude(number: float) -> int:
    """Power of ten of the first digit; exact, where a logarithm would miss at 1000."""
    return int(f"{number:e}".partition("e")[2]) if number else 0
