"""How far apart two cables read: every cold reading with the one and with the other, in expanded uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass

from batchtest.cables.readings import ColdBench, ColdReading, Expected, Harness
from batchtest.files.cable import CableFile
from batchtest.judging.uncertainty import COVERAGE, rectangular

#: Two cables count as told apart from this many expanded uncertainties on (common practice, no source).
APART = 10.0
_PLAINER = 1.1


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading with the one cable and with the other; `None` is over range, base unit otherwise.

    Parameters
    ----------
    range, current_A : of the meter, base unit and A.
    by_instrument : distance in the meter's own expanded uncertainties.
    distance : the same with part tolerances, contact resistance and 18 to 28 C in; what counts.
    """

    point: str
    function: str
    unit: str
    range: float
    current_A: float
    one: float | None
    other: float | None
    by_instrument: float
    distance: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two cables at one fixture with one board: all readings, the one that tells them best first."""

    fixture: str
    board: str
    one: str
    other: str
    readings: tuple[Compared, ...]

    @property
    def best(self) -> Compared:
        """The reading that tells them best."""
        return self.readings[0]

    @property
    def apart(self) -> bool:
        """Whether some reading tells them by at least `APART`."""
        return any(reading.distance >= APART for reading in self.readings)


def compare(harness: Harness, one: tuple[str, CableFile], other: tuple[str, CableFile]) -> list[Compared]:
    """Every cold reading of a harness with two cables of the library, the one that tells them best first."""
    readings = harness.every()
    harness.solve(dict((one, other)), readings)
    found = [compared(harness, reading, one, other) for reading in readings]
    return sorted(found, key=_preference, reverse=True)


def compared(
    harness: Harness, reading: ColdReading, one: tuple[str, CableFile], other: tuple[str, CableFile]
) -> Compared:
    """One cold reading with two cables of the library."""
    with_one, with_other = (harness.circuit(*cable).expected(reading) for cable in (one, other))
    return Compared(
        point=reading.point,
        function=reading.measurand.value,
        unit=reading.unit,
        range=reading.range,
        current_A=reading.current_A,
        one=with_one.value,
        other=with_other.value,
        by_instrument=distance(harness.cold, reading, with_one, with_other, tolerant=False),
        distance=distance(harness.cold, reading, with_one, with_other),
    )


def distance(cold: ColdBench, reading: ColdReading, one: Expected, other: Expected, *, tolerant: bool = True) -> float:
    """Distance of two expectations of one reading, in expanded uncertainties; 0 where one of them says nothing.

    Over range lies at the end of what the reading reaches at least: that is what it is compared as.

    Parameters
    ----------
    tolerant : with part tolerances, contact resistance and temperature; else the meter's own uncertainty alone.
    """
    if not (one.certain and other.certain) or one.value is other.value is None:
        return 0.0
    values = [reading.reach if expected.value is None else expected.value for expected in (one, other)]
    uncertainty = math.hypot(
        *(_uncertainty(cold, reading, value, expected.sigma if tolerant else 0.0) for value, expected in
          zip(values, (one, other), strict=True)),
        COVERAGE * rectangular(cold.contact(reading)) if tolerant else 0.0,
    )  # fmt: skip
    return abs(values[0] - values[1]) / uncertainty


def _preference(compared: Compared) -> float:
    """The distance; of two readings that tell alike, a resistance is plainer than the drop over it."""
    return compared.distance * (_PLAINER if compared.unit == "ohm" else 1.0)


def _uncertainty(cold: ColdBench, reading: ColdReading, value: float, sigma: float) -> float:
    return math.hypot(cold.instrument_U(reading, value), COVERAGE * sigma)
