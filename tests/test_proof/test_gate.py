"""The gate as a whole, on the simulated bench: its order by the bench's own log, and what is never powered."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from stations import Stand, demo_setup, stand

from batchtest.errors import BenchError, NotProven
from batchtest.nouns import Attempt, Outcome, Phase, Role
from batchtest.procedure.actions import CheckInterlock, ProveContact
from batchtest.sequencer import Ending
from batchtest.sequencer.attempt import try_gate
from batchtest.sequencer.batch import run_one
from batchtest.simulated.log import Kind
from batchtest.simulated.mishaps import Mishap

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

#: Fixture -> a serial of its board.
NESTS = {"vent-nest": "VN-0001", "mist-nest": "MS-0001"}


def through_gate(station: Stand, serial: str) -> tuple[Attempt, Ending]:
    """An attempt that ends with the gate."""
    return run_one(station.station, station.job(), serial, station.place, station.watcher, try_gate)


def readings(station: Stand) -> list[tuple[str, str]]:
    """What the meter was triggered for, by the bench's own log: the channels closed, and the function set."""
    found, closed, function = [], "", ""
    for entry in station.running.log:
        if entry.role == Role.SCANNER and entry.kind is Kind.STATE:
            closed = entry.text
        elif entry.role == Role.METER and entry.text.startswith("CONF:"):
            function = entry.text.removeprefix("CONF:").split()[0]
        elif entry.role == Role.METER and entry.text == "READ?":
            found.append((closed, function))
    return found


@pytest.mark.parametrize("nest", NESTS)
def test_no_ohms_on_a_point_before_its_voltage_and_the_known_voltage_on_both_sides(tmp_path: Path, nest: str):
    """By the log: no test current at a pair of terminals that was not read in volts; the reference around all zeros."""
    with stand(tmp_path, demo_setup(nest=nest)) as station:
        through_gate(station, NESTS[nest])
        done, setup = readings(station), station.station.setup
    pairs = {str(point.scanner): frozenset((point.plus, point.minus)) for point in setup.fixture.points.values()}
    reference = (str(setup.bench.reference.scanner), "VOLT:DC")
    seen, ohms, volts = set(), [], []
    for number, (channel, function) in enumerate(done):
        if channel in pairs and function == "VOLT:DC":
            seen.add(pairs[channel])
            volts.append(number)
        elif channel in pairs:
            assert pairs[channel] in seen, f"{function} on {channel} before its voltage was read"
            ohms.append(number)
    assert seen == set(pairs.values())
    assert {pairs[done[number][0]] for number in ohms} == seen
    before, after = (number for number, each in enumerate(done) if each == reference)
    assert before < volts[0] < volts[-1] < after < ohms[0]


@pytest.mark.parametrize("nest", NESTS)
def test_the_gate_ends_unpowered(tmp_path: Path, nest: str):
    """A good board goes all through it, and no output was ever on."""
    with stand(tmp_path, demo_setup(nest=nest)) as station:
        attempt, ending = through_gate(station, NESTS[nest])
        assert (attempt.outcome, ending.error, station.was_powered) == (Outcome.PASS, None, False)
        assert {line.measurement.phase for line in attempt.lines} == {Phase.GATE}
        planned = [m.name for action in station.procedure.gate for m in action.measurements]
        assert [line.measurement.name for line in attempt.lines] == planned


WRONG = [
    pytest.param("vent-nest", "mist-lead", ["pink wire (PK), board pin 6, goes to host pin 6, not 5"], id="vent-mist"),
    pytest.param(
        "vent-nest",
        "long-lead",
        [
            "white wire (WH), board pin 1, goes to host pin 3, not 1",
            "green wire (GN), board pin 3, goes to host pin 1, not 3",
        ],
        id="vent-long",
    ),
    pytest.param("mist-nest", "vent-lead", ["pink wire (PK), board pin 6, goes to host pin 5, not 6"], id="mist-vent"),
    pytest.param(
        "mist-nest",
        "long-lead",
        [
            "white wire (WH), board pin 1, goes to host pin 3, not 1",
            "green wire (GN), board pin 3, goes to host pin 1, not 3",
            "pink wire (PK), board pin 6, goes to host pin 5, not 6",
        ],
        id="mist-long",
    ),
]


@pytest.mark.parametrize("asked", ["its own name", "the fixture's name"])
@pytest.mark.parametrize(("nest", "cable", "wires"), WRONG)
def test_a_wrong_cable_is_refused_by_its_name_and_wires(
    tmp_path: Path, nest: str, cable: str, wires: list[str], asked: str
):
    """Truly fitted, whatever the bar code says: named, with the wire, its pins and colour; nothing was ever on."""
    swapped = {"cable": cable} if asked == "the fixture's name" else {}
    with stand(tmp_path, demo_setup(nest=nest, **swapped)) as station:
        own, handler = station.station.setup.fixture.cable, station.station.bench.handler
        assert handler is not None
        if asked == "its own name":
            handler.fit_cable(cable)
        else:
            assert handler.cable() == own
        assert station.running.rack.cable_fitted == cable
        attempt, ending = through_gate(station, NESTS[nest])
        assert isinstance(ending.error, NotProven)
        assert (attempt.outcome, ending.error.looks_like) == (Outcome.REFUSED, cable)
        assert f"id resistor of {own}" in ending.error.told_by
        for said in [f"reads like {cable}: its ", *wires, f"with {own} about", f"fit {own}", "Nothing was powered"]:
            assert said in (attempt.first_cause or "")
        assert not station.was_powered


RAILS_SHORT = {
    "vent-nest": ["DTVS short", "RL5 short"],
    "mist-nest": ["DZAC short", "RFL short"],
}


@pytest.mark.parametrize("nest", NESTS)
def test_a_board_shorted_at_a_rail_fails_and_the_batch_goes_on(tmp_path: Path, nest: str):
    """A rail bridged to its return, on a cable just proven: it fails cold, and nothing was ever on."""
    serials = {f"{NESTS[nest][:3]}{100 + number}": fault for number, fault in enumerate(RAILS_SHORT[nest])}
    with stand(tmp_path, demo_setup(serials, nest=nest)) as station:
        for serial, fault in serials.items():
            station.station.memory.proven = True
            (attempt,) = station.test(serial)
            assert (attempt.outcome, fault) == (Outcome.FAIL, fault)
            assert {line.measurement.phase for line in attempt.lines} == {Phase.GATE}
        assert not station.was_powered
        assert [each.outcome for each in station.test(NESTS[nest])] == [Outcome.PASS]


def test_an_open_needle_at_any_terminal_of_the_pin_map_is_no_proof(tmp_path: Path):
    """Each terminal that the pin map reads: refused at its contact, with the terminal's name, and nothing was on."""
    with stand(tmp_path) as station:
        points = station.station.setup.fixture.points
        read = {pin.reading.point for pin in station.procedure.suspects.signature.readings}
        terminals = {end for name in read for end in (points[name].plus, points[name].minus)}
        assert terminals >= {"host.1", "host.3", "host.5", "host.6", "host.8", "TP1", "TP9"}
        for terminal in sorted(terminals):
            station.running.rack.setup = demo_setup(open_needles=(terminal,))
            attempt, ending = through_gate(station, "VN-0001")
            assert isinstance(ending.error, NotProven)
            assert f"contact {terminal} (" in str(ending.error)
            assert (attempt.outcome, station.was_powered) == (Outcome.REFUSED, False)


def test_over_range_where_no_contact_was_proven_is_no_proof(tmp_path: Path):
    """In a gate without its contact check, what the right cable keeps apart reads over range: that is no bound then."""
    with stand(tmp_path) as station:
        gate = tuple(action for action in station.procedure.gate if not isinstance(action, ProveContact))
        station.station = replace(station.station, procedure=replace(station.procedure, gate=gate))
        attempt, ending = through_gate(station, "VN-0001")
        assert isinstance(ending.error, NotProven)
        assert "pin map spare: no reading, with vent-lead more than" in str(ending.error)
        assert (attempt.outcome, station.was_powered) == (Outcome.REFUSED, False)
        spare = next(line for line in attempt.lines if line.measurement.name == "pin map spare")
        assert (spare.reading.value, spare.reading.beyond) == (None, None)


@pytest.mark.parametrize("name", ["reference after", "id resistor of vent-lead", "pin map spare", "supply-short"])
def test_a_meter_that_times_out_is_no_proof(tmp_path: Path, name: str):
    """Wherever in the gate the reply stays out: the bench's fault, stopped, and nothing was ever on."""
    with stand(tmp_path) as station:
        order = [m.name for action in station.procedure.gate for m in action.measurements]
        station.station.bench.meter.link._reply_s = 0.05

        def cut(now: object) -> None:
            if len(station.watcher.lines) == order.index(name):
                station.running.servers[Role.METER].mishaps.append(Mishap(no_ending=True))

        station.watcher.on_line = cut
        attempt, ending = through_gate(station, "VN-0001")
        assert isinstance(ending.error, BenchError)
        assert "meter: " in (attempt.first_cause or "")
        assert (attempt.outcome, station.was_powered) == (Outcome.STOPPED, False)
        assert [line.measurement.name for line in attempt.lines] == order[: order.index(name)]


@pytest.mark.parametrize(
    ("ohms", "message"),
    [
        pytest.param(None, r"the interlock is open \(no reading\)", id="open"),
        pytest.param(0.1, r"the interlock reads like a bridge across it \(\d+\.?\d* mohm\)", id="bridged"),
        pytest.param(1_200.0, r"the interlock is open \(1\.200 kohm\)", id="loose"),
    ],
)
def test_an_interlock_that_is_not_closed_is_no_proof(tmp_path: Path, ohms: float | None, message: str):
    """Open, bridged or in between: refused before anything else is read, whatever the handler's lid says."""
    with stand(tmp_path) as station:
        station.running.rack.interlock_ohms = ohms
        attempts = station.attempts(["VN-0001", "VN-0002"])
        attempt = next(attempts)
        with pytest.raises(NotProven, match=message) as refused:
            next(attempts)
        assert refused.value.told_by == ("interlock",)
        assert (attempt.outcome, station.was_powered) == (Outcome.REFUSED, False)
        assert [line.measurement.name for line in attempt.lines] == ["interlock"]


def test_a_bench_without_an_interlock_has_none_to_read(tmp_path: Path):
    """The table is optional: no action and no reading of it, and the board passes."""
    setup = demo_setup()
    with stand(tmp_path, replace(setup, bench=setup.bench.model_copy(update={"interlock": None}))) as station:
        assert not any(isinstance(action, CheckInterlock) for action in station.procedure.gate)
        (attempt,) = station.test("VN-0001")
        assert attempt.outcome is Outcome.PASS
        assert "interlock" not in {line.measurement.name for line in attempt.lines}
