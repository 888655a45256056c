"""Types of the fields that people write, and what a table checks of itself: strict quantities, numbers, names, days.

Every table answers `own_faults` with what is wrong inside it although each field alone is right, such as a lower bound
above the upper one. `Table` raises these together, and `files.read` puts file and line to each.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from typing import Annotated, Any, Protocol, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StrictInt,
    StrictStr,
    StringConstraints,
    model_validator,
)

from batchtest.files.positions import Key
from batchtest.formulas import formula_fault
from batchtest.quantities import as_found, parse, write

#: What is wrong inside a table: the key it concerns, counted from that table, and the message.
Wrong = tuple[Key, str]


class Sign(Enum):
    """What sign a number may have."""

    ANY = "any"
    NOT_NEGATIVE = "not negative"
    POSITIVE = "positive"

    def refuse(self, value: Decimal, found: object) -> None:
        """Raise ValueError with the cure where a number has a sign that it may not have."""
        if self is not Sign.ANY and value < 0:
            raise ValueError(f"is below zero; write it without the minus, got {as_found(found)}")
        if self is Sign.POSITIVE and value == 0:
            raise ValueError(f"is zero; write a value above zero, got {as_found(found)}")


@dataclass(frozen=True, slots=True)
class Quantity:
    """Reads a field that is a quantity in a base unit."""

    unit: str
    sign: Sign

    def read(self, found: object) -> Decimal:
        """Read what stands in the file; raises ValueError with the cure."""
        value = parse(found, self.unit)
        self.sign.refuse(value, found)
        return value


def _quantity(unit: str, sign: Sign = Sign.NOT_NEGATIVE) -> Any:
    return BeforeValidator(Quantity(unit, sign).read)


def _read_number(found: object) -> Decimal:
    if isinstance(found, bool) or not isinstance(found, int | float | Decimal):
        raise ValueError(f"needs a number without quotes or unit, such as 1 or 0.5, got {as_found(found)}")
    value = Decimal(str(found))
    if not value.is_finite():
        raise ValueError(f"needs a finite number, such as 1 or 0.5, got {as_found(found)}")
    Sign.POSITIVE.refuse(value, found)
    return value


def _read_text(text: str) -> str:
    if not text.strip():
        raise ValueError("is empty; write what a person can look up, such as 'data sheet of the display'")
    if any(unicodedata.category(letter) == "Cc" and letter not in "\t\r\n" for letter in text):
        raise ValueError(f"has a control character; write it anew, got {as_found(text)}")
    if fault := formula_fault(text):
        raise ValueError(fault)
    return text


def _read_day(value: object) -> date:
    if type(value) is not date:
        raise ValueError(f"needs a date without quotes, such as 2026-03-02, got {as_found(value)}")
    return value


Volts = Annotated[Decimal, _quantity("V", Sign.ANY)]
UnsignedVolts = Annotated[Decimal, _quantity("V")]
PositiveVolts = Annotated[Decimal, _quantity("V", Sign.POSITIVE)]
Amperes = Annotated[Decimal, _quantity("A", Sign.ANY)]
UnsignedAmperes = Annotated[Decimal, _quantity("A")]
PositiveAmperes = Annotated[Decimal, _quantity("A", Sign.POSITIVE)]
AmperesPerSecond = Annotated[Decimal, _quantity("A/s")]
PositiveAmperesPerSecond = Annotated[Decimal, _quantity("A/s", Sign.POSITIVE)]
Ohms = Annotated[Decimal, _quantity("ohm")]
PositiveOhms = Annotated[Decimal, _quantity("ohm", Sign.POSITIVE)]
OhmsPerMetre = Annotated[Decimal, _quantity("ohm/m")]
Watts = Annotated[Decimal, _quantity("W")]
PositiveWatts = Annotated[Decimal, _quantity("W", Sign.POSITIVE)]
Seconds = Annotated[Decimal, _quantity("s")]
PositiveSeconds = Annotated[Decimal, _quantity("s", Sign.POSITIVE)]
PositiveHertz = Annotated[Decimal, _quantity("Hz", Sign.POSITIVE)]
Celsius = Annotated[Decimal, _quantity("C", Sign.ANY)]
Metres = Annotated[Decimal, _quantity("m", Sign.ANY)]
UnsignedMetres = Annotated[Decimal, _quantity("m")]
PositiveSquareMillimetres = Annotated[Decimal, _quantity("mm2", Sign.POSITIVE)]
Ratio = Annotated[Decimal, _quantity("%")]
RatioPerKelvin = Annotated[Decimal, _quantity("%/K")]

#: A plain number above zero, such as line cycles or a scale.
PositiveNumber = Annotated[Decimal, BeforeValidator(_read_number)]
#: A calendar day, as TOML writes it.
Day = Annotated[date, BeforeValidator(_read_day)]
#: A channel of a scanner or load, or a pin: counted from 1.
Channel = Annotated[StrictInt, Field(ge=1)]

#: Free text, which ends up in records and so in spreadsheets.
Text = Annotated[StrictStr, AfterValidator(_read_text)]

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"
#: A name that is also a file name without ending, a key or a cause: nothing in it that a shell or a disk could mistake.
Name = Annotated[str, StringConstraints(pattern=NAME_PATTERN)]

TERMINALS_PATTERN = r"^[A-Za-z0-9.]+-[A-Za-z0-9.]+$"
#: Two terminals, plus and minus, such as "host.2-host.7".
Terminals = Annotated[str, StringConstraints(pattern=TERMINALS_PATTERN)]


class TableFaults(ValueError):
    """What is wrong inside one table, all of it."""

    def __init__(self, found: Sequence[Wrong]) -> None:
        self.found = tuple(found)
        super().__init__("; ".join(f"{'.'.join(map(str, key))}: {message}" for key, message in found))


class Table(BaseModel):
    """A table of a TOML file: frozen, and without keys that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def own_faults(self) -> Iterator[Wrong]:
        """What is wrong inside this table although each field alone is right; nothing for most tables."""
        return iter(())

    @model_validator(mode="after")
    def _raise_own_faults(self) -> Self:
        found = list(self.own_faults())
        if found:
            raise TableFaults(found)
        return self


class _Bounds(Protocol):
    @property
    def lower(self) -> Decimal | None: ...

    @property
    def upper(self) -> Decimal | None: ...


def crossed(bounds: _Bounds, unit: str) -> Iterator[Wrong]:
    """Say that a lower bound is above the upper one."""
    lower, upper = bounds.lower, bounds.upper
    if lower is not None and upper is not None and lower > upper:
        yield ("lower",), f"lower {write(lower, unit)} is above upper {write(upper, unit)}; swap them"
