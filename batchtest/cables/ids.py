"""Which id resistor would keep all cables of a library apart, from the E24 values of IEC 60063."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from batchtest.cables.apart import APART, distance
from batchtest.cables.readings import Expected, Harness
from batchtest.files.cable import CableFile, IdResistor

#: E24 series of preferred values (IEC 60063:2015).
E24 = (
    *("1.0", "1.1", "1.2", "1.3", "1.5", "1.6", "1.8", "2.0", "2.2", "2.4", "2.7", "3.0"),
    *("3.3", "3.6", "3.9", "4.3", "4.7", "5.1", "5.6", "6.2", "6.8", "7.5", "8.2", "9.1"),
)
#: Decades in which an id resistor is looked for, ohm: far above contacts, far below leaks (common practice, no source).
DECADES = (Decimal(1000), Decimal(10000))
#: Tolerance of the resistor that is proposed.
TOLERANCE = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Proposal:
    """An id resistor for a cable: its value (ohm), the host pins it lies across, its least distance from the others.

    `distance` is in expanded uncertainties, with tolerance, contacts and temperature.
    """

    cable: str
    ohms: Decimal
    pins: tuple[int, int]
    distance: float


def propose(harness: Harness, cables: Mapping[str, CableFile], needy: str) -> Proposal | None:
    """The lowest E24 value that keeps a cable apart from all others of the library; `None` where none does.

    It is read at the fixture's `identify` point, or else at a point across a host pin that no cable has a wire on.
    """
    for point, pins in _places(harness, cables):
        for ohms in values():
            resistor = IdResistor(value=f"{ohms:f} ohm", tolerance="1 %", pins=pins)
            fitted = {**cables, needy: cables[needy].model_copy(update={"id_resistor": resistor})}
            least = _least_distance(harness, fitted, needy, point)
            if least >= APART:
                return Proposal(needy, ohms, pins, least)
    return None


def values() -> Iterator[Decimal]:
    """The values tried, ohm, rising."""
    return (decade * Decimal(value) for decade in DECADES for value in E24)


def _places(harness: Harness, cables: Mapping[str, CableFile]) -> Iterator[tuple[str, tuple[int, int]]]:
    """Points at which an id resistor could be read, with their host pins: the point made for it first."""
    fixture = harness.cold.fixture
    wired = {wire.host for cable in cables.values() for wire in cable.wires}
    found = []
    for name, point in fixture.points.items():
        if point.plus.startswith("host.") and point.minus.startswith("host."):
            pins = int(point.plus.removeprefix("host.")), int(point.minus.removeprefix("host."))
            if name == fixture.identify or not wired.issuperset(pins):
                found.append((name, pins))
    yield from sorted(found, key=lambda place: place[0] != fixture.identify)


def _least_distance(harness: Harness, cables: Mapping[str, CableFile], needy: str, point: str) -> float:
    """Distance of the nearest other cable at a point, with the cables as they would be."""
    resistor = cables[needy].id_resistor
    assert resistor is not None
    ohms, sigma = float(resistor.value), float(resistor.value * resistor.tolerance) / 3
    reading = next(
        reading
        for reading in harness.cold.readings(point)
        if reading.unit == "ohm" and reading.range >= ohms + 6 * sigma
    )
    own = Expected(ohms, sigma)
    others = (harness.circuit(name, cable).expected(reading) for name, cable in cables.items() if name != needy)
    return min((distance(harness.cold, reading, own, other) for other in others), default=float("inf"))
