"""Numbers as program messages write them and as replies give them (IEEE 488.2, 7.7.2 to 7.7.4 and 8.7.2 to 8.7.4)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from batchtest.simulated.scpi.errors import ScpiError

#: Suffix multipliers (IEEE 488.2, table 7-2).
_MULTIPLIERS = {
    "": 1.0,
    "EX": 1e18,
    "PE": 1e15,
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
}
#: Units in which M is mega, not milli (IEEE 488.2, 7.7.3).
_MEGA_UNITS = ("OHM", "HZ")
_UNITS = ("OHM", "HZ", "V", "A", "W", "S")
_DECIMAL = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*E\s*[+-]?\d+)?)\s*([A-Z/%]*)", re.IGNORECASE | re.ASCII)
_NON_DECIMAL = re.compile(r"#(?:B([01]+)|Q([0-7]+)|H([0-9A-F]+))", re.IGNORECASE | re.ASCII)
#: Longest mantissa, in characters (IEEE 488.2, 7.7.2.4.1).
_LONGEST = 255

#: Stand-ins for values that are no numbers (SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5).
INFINITY = 9.9e37
NOT_A_NUMBER = 9.91e37


@dataclass(frozen=True, slots=True)
class Number:
    """A number from a message: its form (NR1, NR2, NR3, bin, oct, hex), value in the unit, unit ("" without suffix)."""

    form: str
    value: float
    unit: str = ""


def parse_number(text: str) -> Number:
    """Read a decimal number with or without suffix, or a #B, #Q or #H number.

    Raises
    ------
    ScpiError : -104 no number at all, -121 bad character in one, -123 or -124 too large, -131 unknown suffix.

    Examples
    --------
    >>> parse_number("5 MOHM")
    Number(form='NR1', value=5000000.0, unit='OHM')
    >>> parse_number("#H20").value
    32.0
    """
    match = _DECIMAL.fullmatch(text)
    if match is None:
        return _non_decimal(text)
    digits = match[1].replace(" ", "").replace("\t", "")
    if len(digits) > _LONGEST:
        raise ScpiError(-124)
    value = float(digits)
    if math.isinf(value):
        raise ScpiError(-123, digits[:20])
    form = "NR3" if "E" in digits.upper() else "NR2" if "." in digits else "NR1"
    factor, unit = _suffix(match[2].upper())
    return Number(form, value * factor, unit)


def _non_decimal(text: str) -> Number:
    match = _NON_DECIMAL.fullmatch(text)
    if match is None:
        raise ScpiError(-121 if text[:1] in tuple("+-.0123456789#") else -104, text[:40])
    base = {1: 2, 2: 8, 3: 16}[match.lastindex or 0]
    digits = match[match.lastindex or 0]
    if len(digits) > 64:
        raise ScpiError(-124)
    return Number({2: "bin", 8: "oct", 16: "hex"}[base], float(int(digits, base)))


def _suffix(suffix: str) -> tuple[float, str]:
    if not suffix:
        return 1.0, ""
    for unit in _UNITS:
        prefix = suffix.removesuffix(unit)
        if suffix.endswith(unit) and prefix in _MULTIPLIERS:
            mega = prefix == "M" and unit in _MEGA_UNITS
            return (1e6 if mega else _MULTIPLIERS[prefix]), unit
    raise ScpiError(-131, suffix[:40])


def real(value: float) -> str:
    """A value as NR3 with nine digits; infinities and "no number" as the standard's stand-ins.

    >>> real(1.25), real(-math.inf)
    ('+1.25000000E+00', '-9.90000000E+37')
    """
    if math.isnan(value):
        value = NOT_A_NUMBER
    elif abs(value) >= INFINITY:
        value = math.copysign(INFINITY, value)
    return f"{value:+.8E}"
