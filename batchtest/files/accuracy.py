"""Accuracy tables as data sheets print them, row by row, in rising order of range."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pydantic import Field

from batchtest.files.fields import (
    Ohms,
    PositiveAmperes,
    PositiveNumber,
    PositiveOhms,
    PositiveVolts,
    Ratio,
    RatioPerKelvin,
    Seconds,
    Table,
    UnsignedAmperes,
    UnsignedVolts,
    Wrong,
)
from batchtest.quantities import write


class Temperature(Table):
    """Added outside the calibration temperature +-5 C, for each kelvin beyond."""

    reading: RatioPerKelvin = Decimal(0)
    of_range: RatioPerKelvin = Decimal(0)


class Accuracy(Table):
    """One row of a data sheet's accuracy table: half-width = reading x |value| + of_range x range.

    `integration` is what the row (and its `noise`) holds for, in power-line cycles; `valid_for` the age of the
    calibration up to which it holds.
    """

    reading: Ratio
    of_range: Ratio
    integration: PositiveNumber = Decimal(1)
    temperature: Temperature = Temperature()
    valid_for: Seconds | None = None


class VoltsAccuracy(Accuracy):
    """A range in volts; `noise` is the rms of one reading."""

    range: PositiveVolts
    noise: UnsignedVolts = Decimal(0)


class AmperesAccuracy(Accuracy):
    """A range in amperes; `noise` is the rms of one reading."""

    range: PositiveAmperes
    noise: UnsignedAmperes = Decimal(0)


class OhmsAccuracy(Accuracy):
    """A range in ohms, the test current it uses and the voltage at which that current gives up."""

    range: PositiveOhms
    noise: Ohms = Decimal(0)
    current: PositiveAmperes
    compliance: PositiveVolts = Decimal(10)


class DiodeAccuracy(VoltsAccuracy):
    """The diode function: a test current and the drop it can still read."""

    current: PositiveAmperes


class MeterAccuracy(Table):
    """The multimeter's tables; rows in rising order of range."""

    volts_dc: tuple[VoltsAccuracy, ...] = Field(min_length=1)
    ohms: tuple[OhmsAccuracy, ...] = Field(min_length=1)
    diode: tuple[DiodeAccuracy, ...] = ()

    def own_faults(self) -> Iterator[Wrong]:
        """Rows that do not rise."""
        yield from _rising_faults("volts_dc", [row.range for row in self.volts_dc], "V")
        yield from _rising_faults("ohms", [row.range for row in self.ohms], "ohm")
        yield from _rising_faults("diode", [row.range for row in self.diode], "V")


class LoadAccuracy(Table):
    """The electronic load's tables; current holds for setting and for read-back."""

    current: tuple[AmperesAccuracy, ...] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """Rows that do not rise."""
        yield from _rising_faults("current", [row.range for row in self.current], "A")


class SupplyAccuracy(Table):
    """The supply's read-back tables."""

    voltage: tuple[VoltsAccuracy, ...] = Field(min_length=1)
    current: tuple[AmperesAccuracy, ...] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """Rows that do not rise."""
        yield from _rising_faults("voltage", [row.range for row in self.voltage], "V")
        yield from _rising_faults("current", [row.range for row in self.current], "A")


def _rising_faults(name: str, ranges: Sequence[Decimal], unit: str) -> Iterator[Wrong]:
    for index, (before, after) in enumerate(pairwise(ranges), start=1):
        if after <= before:
            wrong = f"{write(after, unit)} does not rise above {write(before, unit)} before it; sort the rows by range"
            yield (name, index, "range"), wrong
