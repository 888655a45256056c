"""The cold readings by which the gate knows the fixture's cable, and what every cable of the library reads there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from batchtest.cables.apart import APART, distance
from batchtest.cables.readings import DRAWN, TEMPERATURES_C, ColdBench, ColdReading, Expected, Harness
from batchtest.files.cable import CableFile
from batchtest.files.fixture import FixtureFile
from batchtest.nouns import Limit
from batchtest.quantities import write

#: Half-width of a window in standard deviations of the drawn boards, and in half-widths of the meter's accuracy.
SIGMAS, INSTRUMENTS = 6.0, 3.0
#: Pins that the right cable keeps apart are read on the smallest range from here on, ohm: leaks of flux and moisture
#: lie above it, wires and boards far below (common practice, no source).
ISOLATION_OHM = 1e6
_SOURCE = f"circuit, {DRAWN} drawn boards, {TEMPERATURES_C[0]:.0f} to {TEMPERATURES_C[-1]:.0f} C"


@dataclass(frozen=True, slots=True)
class PinReading:
    """One reading of the pin map: what it is with each cable of the library, and its window for the right one."""

    name: str
    reading: ColdReading
    expected: Mapping[str, Expected]
    limit: Limit


@dataclass(frozen=True, slots=True)
class Signature:
    """The readings that know a cable.

    Parameters
    ----------
    cable : the fixture's cable, by name.
    readings : one for each point that touches the host end of the cable, and what else is needed.
    best : other cable -> the reading that tells it best from the fixture's.
    distances : other cable -> by how many expanded uncertainties that reading tells it.
    """

    cable: str
    readings: tuple[PinReading, ...]
    best: Mapping[str, PinReading]
    distances: Mapping[str, float]

    @property
    def like(self) -> tuple[str, ...]:
        """The cables that no reading tells from the fixture's."""
        return tuple(name for name, found in self.distances.items() if found < APART)


def sign(harness: Harness, cables: Mapping[str, CableFile], own: str) -> Signature:
    """Choose the readings that know a cable.

    Parameters
    ----------
    cables : all of the library, by name.
    own : the fixture's cable.
    """
    chosen = _choose_all(harness, own, cables[own])
    harness.solve(cables, chosen)
    readings = [_pin_reading(harness, cables, own, reading) for reading in chosen]
    best, distances = {}, {}
    for other in cables:
        if other == own:
            continue
        nearest, told_by = _best(harness.cold, readings, own, other)
        if told_by < APART:
            further, further_by = _best(harness.cold, _every(harness, cables, own), own, other)
            if further is not None and further_by > told_by:
                nearest, told_by = further, further_by
            if further is not None and further_by >= APART:
                readings.append(further)
        if nearest is not None:
            best[other] = nearest
        distances[other] = told_by
    return Signature(own, tuple(readings), best, distances)


def reaching_host(fixture: FixtureFile) -> Sequence[str]:
    """Points with a terminal at the cable's host end: those at which the cable shows."""
    return [
        name
        for name, point in fixture.points.items()
        if point.plus.startswith("host.") or point.minus.startswith("host.")
    ]


def _choose_all(harness: Harness, name: str, cable: CableFile) -> list[ColdReading]:
    """How each point is best read with the right cable: on the lowest range of ohms that holds what it reads there.

    Where nothing flows, the lowest range that still speaks of isolation; where no range fits all drawn boards, the
    highest. Ranges are tried from the lowest, at all points that are not yet settled at once.
    """
    circuit = harness.circuit(name, cable)
    tries = {point: _ohms(harness, point) for point in reaching_host(harness.cold.fixture)}
    chosen: dict[str, ColdReading] = {}
    for step in range(max(map(len, tries.values()), default=0)):
        open_points = [point for point in tries if point not in chosen]
        circuit.solve(tries[point][step] for point in open_points)
        for point in open_points:
            reading = tries[point][step]
            if _fits(harness.cold, reading, circuit.expected(reading)) or step == len(tries[point]) - 1:
                chosen[point] = reading
    return [chosen[point] for point in tries]


def _ohms(harness: Harness, point: str) -> list[ColdReading]:
    return [reading for reading in harness.cold.readings(point) if reading.unit == "ohm"]


def _fits(cold: ColdBench, reading: ColdReading, expected: Expected) -> bool:
    """Whether a range holds the whole window of what is read, or still speaks of isolation where nothing flows."""
    if expected.value is None:
        return reading.range >= ISOLATION_OHM
    upper = window(cold, reading, expected).upper
    return expected.certain and upper is not None and upper <= reading.range


def window(cold: ColdBench, reading: ColdReading, expected: Expected) -> Limit:
    """Where a reading may lie: drawn boards, meter and contact resistance in. Over range wants all it reaches.

    What lies within a contact resistance of nothing has no lower bound: less is no fault.
    """
    if expected.value is None:
        return Limit(lower=reading.reach, source=_SOURCE)
    half = SIGMAS * expected.sigma + INSTRUMENTS * cold.half_width(reading, expected.value)
    lower, upper = expected.value - half, expected.value + half + cold.contact(reading)
    return Limit(lower=lower if lower > cold.contact(reading) else None, upper=upper, source=_SOURCE)


def within(limit: Limit, expected: Expected) -> bool:
    """Whether what is expected lies in a window; what says nothing lies in any."""
    if not expected.certain:
        return True
    if expected.value is None:
        return limit.upper is None
    return inside(limit, expected.value)


def inside(limit: Limit, value: float) -> bool:
    """Whether a value lies in a window, bounds included."""
    return (limit.lower is None or value >= limit.lower) and (limit.upper is None or value <= limit.upper)


def _pin_reading(harness: Harness, cables: Mapping[str, CableFile], own: str, reading: ColdReading) -> PinReading:
    expected = harness.expected(cables, reading)
    return PinReading(_name(harness, own, reading), reading, expected, window(harness.cold, reading, expected[own]))


def _name(harness: Harness, own: str, reading: ColdReading) -> str:
    if reading.point == harness.cold.fixture.identify:
        return f"id resistor of {own}"
    return f"pin map {reading.point}"


def _every(harness: Harness, cables: Mapping[str, CableFile], own: str) -> list[PinReading]:
    """Every way to read every point whose window lies on its range, each with that range in its name."""
    harness.solve(cables, harness.every())
    found = [_pin_reading(harness, cables, own, reading) for reading in harness.every()]
    return [
        replace(pin, name=f"{pin.name}, {write(pin.reading.row.range, pin.reading.unit)}")
        for pin in found
        if pin.limit.upper is None or pin.limit.upper <= pin.reading.range
    ]


def _best(cold: ColdBench, readings: Sequence[PinReading], own: str, other: str) -> tuple[PinReading | None, float]:
    """The reading that tells another cable best, and by how many expanded uncertainties."""
    found = max(readings, key=lambda one: _distance(cold, one, own, other), default=None)
    return found, 0.0 if found is None else _distance(cold, found, own, other)


def _distance(cold: ColdBench, pin: PinReading, own: str, other: str) -> float:
    return distance(cold, pin.reading, pin.expected[own], pin.expected[other])
