"""Which id resistor would keep all cables of a library apart, from the E24 values of IEC 60063."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from batchtest.cables.apart import APART, distance
from batchtest.cables.readings import ColdBench, ColdReading, Expected, Harness
from batchtest.cables.signature import window
from batchtest.files.cable import CableFile, IdResistor
from batchtest.quantities import write

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
            least = _least_distance(harness, cables, needy, (point, ohms))
            if least >= APART:
                return Proposal(needy, ohms, pins, least)
    return None


def propose_all(
    harness: Harness, cables: Mapping[str, CableFile], close: Iterable[tuple[str, str]]
) -> Iterator[Proposal]:
    """Id resistors that together tell every close pair of cables: for each, the one that has none, or else the first.

    Each is chosen with those before it fitted, so that two cables are never given one value.
    """
    given: dict[str, CableFile] = dict(cables)
    for pair in close:
        if any(given[name] is not cables[name] for name in pair):
            continue
        needy = next((name for name in pair if cables[name].id_resistor is None), pair[0])
        found = propose(harness, given, needy)
        if found is not None:
            given[needy] = fitted(cables[needy], found)
            harness = replace(harness, _circuits={})
            yield found


def fitted(cable: CableFile, proposal: Proposal) -> CableFile:
    """A cable with the id resistor that is proposed for it."""
    resistor = IdResistor(value=write(proposal.ohms, "ohm"), tolerance=write(TOLERANCE, "%"), pins=proposal.pins)
    return cable.model_copy(update={"id_resistor": resistor})


def values() -> Iterator[Decimal]:
    """The values tried, ohm, rising."""
    return (decade * Decimal(value) for decade in DECADES for value in E24)


def _places(harness: Harness, cables: Mapping[str, CableFile]) -> Iterator[tuple[str, tuple[int, int]]]:
    """Points at which an id resistor could be read, with their host pins: the point made for it first."""
    fixture = harness.cold.fixture
    wired = {wire.host for cable in cables.values() for wire in cable.wires}
    found = []
    for name, point in fixture.points.items():
        ends = [end.removeprefix("host.") for end in (point.plus, point.minus)]
        if all(end.isdecimal() for end in ends):
            pins = int(ends[0]), int(ends[1])
            if name == fixture.identify or not wired.issuperset(pins):
                found.append((name, pins))
    yield from sorted(found, key=lambda place: place[0] != fixture.identify)


def _least_distance(harness: Harness, cables: Mapping[str, CableFile], needy: str, place: tuple[str, Decimal]) -> float:
    """Distance of the nearest other cable at a point, with a resistor of so many ohms in the needy one."""
    point, ohms = place
    own = Expected(float(ohms), float(ohms * TOLERANCE) / 3)
    reading = next((one for one in harness.cold.readings(point) if _holds(harness.cold, one, own)), None)
    if reading is None:
        return 0.0
    others = (harness.circuit(name, cable).expected(reading) for name, cable in cables.items() if name != needy)
    return min((distance(harness.cold, reading, own, other) for other in others), default=float("inf"))


def _holds(cold: ColdBench, reading: ColdReading, expected: Expected) -> bool:
    """Whether a reading is one of ohms whose range holds the whole window of what is expected."""
    upper = window(cold, reading, expected).upper
    return reading.unit == "ohm" and upper is not None and upper <= reading.range
