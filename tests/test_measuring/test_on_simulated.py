"""The reader on the simulated bench: over real sockets, against what is true of the board."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from stations import demo_setup

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.errors import BenchError, InstrumentRefused, SafetyTrip
from batchtest.measuring import Reader
from batchtest.measuring.raw import INTERLOCK
from batchtest.nouns import Limit, Measurand, Measurement, Phase, Role
from batchtest.simulated import RunningBench, start_bench
from batchtest.simulated.mishaps import Mishap

POINTS = ["feed", "analog", "logic", "core", "bias"]


@dataclass
class On:
    """A reader on a simulated bench with a board in the nest."""

    reader: Reader
    bench: Bench
    running: RunningBench

    def power(self, volts: float = 24.0, limit_A: float = 0.5) -> float:
        """Switch the supply on; the moment at which that was done."""
        self.bench.supply.set(volts, limit_A)
        self.bench.supply.on()
        return self.bench.clock.now()


@contextmanager
def placed(folder: Path, **simulation: Any) -> Iterator[On]:
    """A good board in the nest, everything off."""
    setup, clock = demo_setup(**simulation), VirtualClock()
    with start_bench(setup, clock) as running, Bench.open(running.bench_file, "try", clock, folder) as bench:
        bench.make_safe()
        assert bench.handler is not None
        bench.handler.place("VN-0001")
        yield On(Reader(bench, running.bench_file, setup.fixture, 23.0), bench, running)


def volts(point: str, **fields: Any) -> Measurement:
    """A rail's voltage."""
    range_ = {"feed": 100.0, "analog": 100.0}.get(point, 10.0)
    return Measurement(
        name=point,
        phase=Phase.LOAD,
        point=point,
        measurand=Measurand.VOLTAGE,
        unit="V",
        range=range_,
        settle_s=0.01,
        **fields,
    )


def test_settled_rails_agree_with_the_truth(tmp_path: Path) -> None:
    """Each rail is read within its own uncertainty of what is true when it has settled."""
    with placed(tmp_path) as on:
        since = on.power()
        for point in POINTS:
            found = on.reader.settled(volts(point), since)
            true = on.running.rack.volts(point, on.bench.clock.now() + 1.0)
            assert found.settled
            assert found.value is not None
            assert found.uncertainty is not None
            assert abs(found.value - true) <= found.uncertainty


def test_a_load_step_is_read_settled_with_the_load_status(tmp_path: Path) -> None:
    """A rail under load has sagged, and the load says that it regulates."""
    with placed(tmp_path) as on:
        since = on.power()
        before = on.reader.settled(volts("logic"), since).value
        on.bench.load.set_current(2, 0.02)
        on.bench.load.on(2)
        loaded = on.reader.settled(volts("logic", load_A=0.02), on.bench.clock.now())
        assert before is not None
        assert loaded.value is not None
        assert loaded.value < before - 0.005
        assert loaded.status == "supply=256 supply-questionable=0 load=0"


def test_contacts_are_proven_and_an_open_needle_is_not(tmp_path: Path) -> None:
    """A needle that does not touch reads over range, which proves nothing."""
    with placed(tmp_path, open_needles=("TP3",)) as on:
        contact = replace(volts("logic"), measurand=Measurand.CONTACT, unit="ohm", range=100.0, phase=Phase.GATE)
        for point in on.running.rack.setup.fixture.points.values():
            for channel in point.contact:
                on.reader.contact(contact, channel)
        assert on.reader.proven("analog")
        assert not on.reader.proven("logic")


def test_the_interlock_is_within_its_bounds_while_the_lid_is_closed(tmp_path: Path) -> None:
    """Opened it has no value, although every needle was proven; bridged it reads too low."""
    loop = replace(volts(INTERLOCK), measurand=Measurand.RESISTANCE, unit="ohm", range=10_000.0, phase=Phase.GATE)
    with placed(tmp_path) as on:
        closed = on.reader.read(loop)
        on.running.rack.interlock_ohms = 0.1
        bridged = on.reader.read(loop)
        on.running.rack.interlock_ohms = None
        opened = on.reader.read(loop)
        assert closed.value is not None
        assert closed.uncertainty is not None
        assert abs(closed.value - 1000.0) <= closed.uncertainty
        assert bridged.value == pytest.approx(0.1, abs=1)
        assert (opened.value, opened.beyond) == (None, None)


def test_a_cable_is_fitted_over_the_wire_and_read_back(tmp_path: Path) -> None:
    """The handler says what it took out of the drawer; what is in the fixture may be another cable."""
    with placed(tmp_path, cable="mist-lead") as on:
        assert on.bench.handler is not None
        assert on.bench.handler.can_fit_cables
        for asked, fitted in (("long-lead", "long-lead"), ("vent-lead", "mist-lead")):
            on.bench.handler.fit_cable(asked)
            assert on.bench.handler.cable() == asked
            assert on.running.rack.cable_fitted == fitted
        with pytest.raises(InstrumentRefused, match=r"no cable 'mist-led'; did you mean 'mist-lead'"):
            on.bench.handler.fit_cable("mist-led")


def test_an_abort_bound_leaves_nothing_on(tmp_path: Path) -> None:
    """Beyond the bound supply and load are truly off when the trip is raised."""
    with placed(tmp_path) as on:
        since = on.power()
        with pytest.raises(SafetyTrip, match=r"feed: .* is above its abort bound 20"):
            on.reader.settled(volts("feed", abort=Limit(upper=20.0)), since)
        assert not on.running.instruments.supply.output_on
        assert on.running.instruments.load.inputs_on == ()


def test_the_supply_current_is_read_with_its_status(tmp_path: Path) -> None:
    """What the supply reads agrees with what is true within its uncertainty."""
    with placed(tmp_path) as on:
        on.power()
        on.bench.clock.sleep(0.5)
        found = on.reader.supply_current(
            replace(volts("feed"), point="", measurand=Measurand.CURRENT, unit="A", range=1.0)
        )
        true = on.running.rack.supply_amperes(on.bench.clock.now())
        assert found.value is not None
        assert found.uncertainty is not None
        assert abs(found.value - true) <= found.uncertainty
        assert found.status == "supply=256 supply-questionable=0 load=0"


@pytest.mark.parametrize(
    "mishap",
    [Mishap(keep=4), Mishap(no_ending=True), Mishap(drop=True)],
    ids=["cut", "no-ending", "dropped"],
)
def test_a_mishap_stops_and_the_next_reading_is_right(tmp_path: Path, mishap: Mishap) -> None:
    """A spoilt reply gives no reading; off works all the same, and the next board is read right."""
    with placed(tmp_path) as on:
        since = on.power()
        right = on.reader.settled(volts("logic"), since).value
        on.bench.meter.link._reply_s = 0.1
        on.running.servers[Role.METER].mishaps.append(mishap)
        with pytest.raises(BenchError, match="meter: "):
            on.reader.read(volts("logic"))
        assert on.reader.read(volts("logic")).value == pytest.approx(right, abs=1e-3)
        assert on.bench.contact == 1
