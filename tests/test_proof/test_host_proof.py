"""The proof of a live host: what every pin must read, what refuses it, and that it is off whatever happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import combinations
from pathlib import Path

import pytest
from host_stands import HostStand, host_procedure, host_setup, host_stand

from batchtest.errors import BenchError, InstrumentLost, InstrumentRefused, NotProven, SetupError
from batchtest.nouns import Line, Measurement, Outcome, Phase, Reading, Role
from batchtest.pages.words import shown_dead
from batchtest.procedure import derive_host
from batchtest.proof import HostProof, Proof, prove_host
from batchtest.proof import proof as room
from batchtest.proof.proof import seal_host_proof

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

SWAPS = {f"CB-{10 * one + other:03d}": (one, other) for one, other in combinations(range(1, 9), 2)}
JOINS = {f"CB-8{pin:02d}": pin for pin in (1, 2, 3, 4, 5, 6)}
PARTS = {"CB-201": "RACC open", "CB-202": "DZB short", "CB-203": "RF1 open", "CB-204": "DS2 open", "CB-205": "RZB open"}
HOSTS = {
    **{serial: f"pins {one}-{other} swapped" for serial, (one, other) in SWAPS.items()},
    **{serial: f"pins 8-{pin} joined" for serial, pin in JOINS.items()},
    **PARTS,
}
#: Feed and the low sides of both relay coils: at one voltage where no coil carries current.
ONE_VOLTAGE = [{1, 2}, {1, 3}, {2, 3}]


@pytest.fixture(scope="module")
def stand(tmp_path_factory: pytest.TempPathFactory) -> Iterator[HostStand]:
    """A station on which every host of this module can be plugged in; the bench's outputs are never on."""
    with host_stand(tmp_path_factory.mktemp("reports"), host_setup(HOSTS)) as stand:
        yield stand
        assert stand.was_on == []


def refused(stand: HostStand, serial: str, error: type[Exception] = NotProven) -> str:
    """Map a host that is refused, and is off afterwards; what the refusal says."""
    attempt, ending = stand.map(serial)
    assert isinstance(ending.error, error)
    assert attempt.outcome is (Outcome.REFUSED if error is NotProven else Outcome.STOPPED)
    assert not stand.live
    return str(ending.error)


def prove(stand: HostStand, serial: str) -> HostProof:
    """Prove a host, without a record."""
    station = stand.station
    assert station.bench.handler is not None
    station.bench.handler.place(serial)
    return prove_host(
        station.bench,
        station.reader,
        station.procedure,
        serial,
        switch=station.switch,
        enter=_line(stand),
        announce=lambda action: None,
    )


def _line(stand: HostStand) -> Callable[[Measurement, Reading], Line]:
    from batchtest.judging.rule import judge
    from batchtest.sequencer.host import RULE

    def enter(measurement: Measurement, reading: Reading) -> Line:
        from datetime import UTC, datetime

        judgement = judge(reading, measurement.limit, RULE) if measurement.limit else None
        line = Line(
            number=1,
            time=datetime.now(UTC),
            elapsed_s=0.0,
            measurement=measurement,
            reading=reading,
            judgement=judgement,
        )
        stand.watcher.show_line(line)
        return line

    return enter


class TestHostProof:
    """The proof as a value."""

    def test_a_good_host_gives_a_proof_that_is_spent_once(self, stand: HostStand):
        """For that host and that contact with the bench, and not a second time."""
        proof = prove(stand, "CB-901")
        contact = stand.station.bench.contact
        proof.spend(serial="CB-901", contact=contact)
        with pytest.raises(NotProven, match=r"CB-901 was used once already; prove again"):
            proof.spend(serial="CB-901", contact=contact)

    @pytest.mark.parametrize(
        ("serial", "contact", "message"),
        [
            pytest.param("CB-002", 0, r"for CB-001, not for CB-002; prove again", id="another-host"),
            pytest.param("CB-001", 1, r"contact with an instrument was lost since CB-001", id="link-lost"),
        ],
    )
    def test_it_dies_with_what_it_was_made_for(self, serial: str, contact: int, message: str):
        """Another serial, or a link made anew since, is no longer proven."""
        with pytest.raises(NotProven, match=message):
            seal_host_proof(serial="CB-001", contact=0).spend(serial=serial, contact=contact)

    def test_it_grows_old_on_the_clock_that_counts_sleep(self, monkeypatch: pytest.MonkeyPatch):
        """After five minutes of real time the host must be mapped again."""
        proof = seal_host_proof(serial="CB-001", contact=0)
        later = room.boot_time() + room.LIFE_S + 1
        monkeypatch.setattr(room, "boot_time", lambda: later)
        with pytest.raises(NotProven, match=r"is 301 s old, its life is 300 s"):
            proof.spend(serial="CB-001", contact=0)

    def test_it_is_no_proof_of_a_board(self):
        """Neither is the other: what powers a board does not take a host's, and the reverse."""
        proof = seal_host_proof(serial="CB-001", contact=0)
        assert not isinstance(proof, Proof)
        assert not issubclass(Proof, HostProof)

    def test_nobody_else_can_make_one(self):
        """Calling the class without this room's seal is a bug that shows at once."""
        with pytest.raises(TypeError, match="made by proving"):
            HostProof(object(), serial="CB-001", contact=0)  # type: ignore[arg-type]


class TestPins:
    """What is on the pins."""

    @pytest.mark.parametrize("serial", [serial for serial, pair in SWAPS.items() if set(pair) not in ONE_VOLTAGE])
    def test_two_swapped_pins_are_refused_and_named(self, stand: HostStand, serial: str):
        """The refusal says which pins read what, and that it looks like these two swapped."""
        one, other = SWAPS[serial]
        said = refused(stand, serial)
        assert f"pins {one} and {other}" in said
        assert "swapped, in the host's harness or in the break-out plug" in said

    @pytest.mark.parametrize("serial", [serial for serial, pair in SWAPS.items() if set(pair) in ONE_VOLTAGE])
    def test_pins_at_one_voltage_pass_swapped_and_are_owned_up_to(self, stand: HostStand, serial: str):
        """A relay coil carries no current into an open pin: no voltage tells these three apart, and the map says so."""
        attempt, _ = stand.map(serial)
        assert attempt.outcome is Outcome.PASS
        assert SWAPS[serial] in host_procedure().windows.alike()

    @pytest.mark.parametrize("serial", JOINS)
    def test_voltage_on_the_unused_pin_is_refused(self, stand: HostStand, serial: str):
        """Whatever pin it touches: every other reading is right, and this one is a failure."""
        said = refused(stand, serial)
        assert "on pin 8 (unused), on which nothing hangs" in said
        assert said.count("reads") == 0

    @pytest.mark.parametrize(
        ("serial", "says"),
        [
            pytest.param("CB-201", "pin 6 (accessory) reads 1", id="outlet-dead"),
            pytest.param("CB-202", "pin 6 (accessory) reads", id="zener-short"),
            pytest.param("CB-203", "Nothing is on any pin: that looks like a host without mains", id="fuse"),
            pytest.param("CB-204", "pin 5 (ground) reads 2", id="string-open"),
            pytest.param("CB-205", "pin 6 (accessory) reads", id="outlet-unfed"),
        ],
    )
    def test_a_host_with_a_bad_part_is_refused(self, stand: HostStand, serial: str, says: str):
        """With the pin, what it reads and what it should."""
        said = refused(stand, serial)
        assert says in said
        assert "Mate nothing to it" in said

    def test_what_is_left_on_a_refused_host_is_measured(self, stand: HostStand):
        """Somebody unplugs it now: every point was read dead after it went off, and the page knows."""
        refused(stand, "CB-201")
        last = {line.measurement.point for line in stand.watcher.lines if line.measurement.phase is Phase.POWER_DOWN}
        assert last == {"reference", *stand.station.setup.fixture.points}
        assert shown_dead(stand.watcher.lines)
        assert stand.switch.asked[-2:] == ["CB-201 on", "CB-201 off"]


class TestBeforeItGoesOn:
    """What keeps a host from being switched on."""

    @pytest.mark.parametrize("pin", range(1, 9))
    def test_an_open_needle_refuses_before_anything_is_live(self, tmp_path: Path, pin: int):
        """An open needle reads zero like an unused pin: it is no zero, and the host is never on."""
        with host_stand(tmp_path, host_setup(open_needles=(f"host.{pin}",))) as stand:
            said = refused(stand, "CB-001")
            assert f"contact host.{pin} (" in said
            assert "a zero there would mean nothing" in said
            assert not stand.running.log.was_on("host")
            assert (stand.switch.asked, stand.was_on) == ([], [])

    def test_a_dead_meter_path_is_the_benchs_fault(self, tmp_path: Path):
        """A known voltage that is not read right: stopped, nothing proven, the host never on."""
        setup = host_setup()
        reference = setup.bench.reference.model_copy(update={"voltage": Decimal(6)})
        expecting = replace(setup, bench=setup.bench.model_copy(update={"reference": reference}))
        with host_stand(tmp_path, setup) as stand:
            stand.station = replace(stand.station, procedure=derive_host(expecting))
            said = refused(stand, "CB-001", BenchError)
            assert "the known 6.000 V reads 5.000 V; meter or scanner path is at fault" in said
            assert not stand.running.log.was_on("host")

    def test_an_open_interlock_refuses(self, tmp_path: Path):
        """Covers that are not closed keep the host off; opened just before it goes on, too."""
        with host_stand(tmp_path) as stand:
            stand.running.rack.interlock_ohms = None
            assert "the interlock is open" in refused(stand, "CB-001")
            stand.running.rack.interlock_ohms = 1000.0
            stand.watcher.on_line = _once("reference after", lambda: _open_interlock(stand))
            assert "the interlock is open" in refused(stand, "CB-001")
            assert not stand.running.log.was_on("host")

    def test_a_host_that_is_live_already_is_not_discharged(self, tmp_path: Path):
        """Somebody left it on: no resistor goes across it, no ohms on it, and it is not proven."""
        with host_stand(tmp_path) as stand:
            stand.watcher.on_line = _once("reference before", lambda: _on(stand))
            attempt, ending = stand.map("CB-001")
            assert isinstance(ending.error, NotProven)
            assert "something feeds host CB-001, treat it as live" in str(ending.error)
            assert "contact host.2 (201)" not in {line.measurement.name for line in attempt.lines}
            assert not any("131" in command for command in stand.running.log.commands("scanner"))


class TestWhileItIsLive:
    """What may happen in between."""

    def test_a_meter_that_vanishes_leaves_the_host_off(self, tmp_path: Path):
        """Stopped, off, and nothing shows it to be dead."""
        with host_stand(tmp_path) as stand:
            stand.watcher.on_line = _once("host feed", stand.running.servers[Role.METER].stop)
            refused(stand, "CB-001", InstrumentLost)

    @pytest.mark.parametrize("error", [KeyboardInterrupt(), ZeroDivisionError("a bug")], ids=["ctrl-c", "bug"])
    def test_whatever_breaks_in_leaves_the_host_off(self, tmp_path: Path, error: BaseException):
        """Ctrl-C or a bug in mid-map: off, and what was read is recorded."""
        with host_stand(tmp_path) as stand:
            stand.watcher.on_line = _once("host ground", lambda: _raise(error))
            attempt, ending = stand.map("CB-001")
            assert ending.error is error
            assert (attempt.outcome, stand.live) == (Outcome.STOPPED, False)
            assert attempt.lines[-1].measurement.name == "host ground"

    def test_a_host_that_cannot_be_switched_off_outweighs_everything(self, tmp_path: Path):
        """Nobody may take a refusal for safe: it is said to be live, and to be isolated at its mains."""
        with host_stand(tmp_path) as stand:
            handler = stand.running.servers[Role.HANDLER]
            stand.watcher.on_line = _once("host ground", lambda: (handler.stop(), _raise(StopIteration("a bug")))[0])
            attempt, ending = stand.map("CB-001")
            assert isinstance(ending.error, BenchError)
            assert "CB-001 is not shown to be off" in str(ending.error)
            assert "isolate it at its mains" in str(ending.error)
            assert attempt.outcome is Outcome.STOPPED

    def test_a_pin_beyond_every_range_is_no_reading_and_no_pass(self, tmp_path: Path):
        """Over range on volts: refused, without a guess at what it looks like."""
        with host_stand(tmp_path) as stand:
            rack, mean = stand.running.rack, stand.running.rack.mean_volts

            def lifted() -> None:
                rack.mean_volts = lambda point, from_s, to_s: (
                    5000.0 if point == "accessory" and rack.live else mean(point, from_s, to_s)
                )

            stand.watcher.on_line = _once("host feed", lifted)
            said = refused(stand, "CB-001")
            assert "pin 6 (accessory) reads no reading against pin 7" in said
            assert "looks like" not in said

    def test_a_host_that_says_it_is_off_and_is_not_is_found_out(self, tmp_path: Path):
        """What it says is no measurement: the pins are still live, and that is what counts."""
        with host_stand(tmp_path) as stand:
            rack = stand.running.rack
            stand.watcher.on_line = _once("residual feed after switching off", lambda: None)
            off = stand.switch.off

            def only_said(serial: str) -> None:
                off(serial)
                rack.switch(True, stand.station.bench.clock.now())

            stand.switch.off = only_said  # type: ignore[method-assign]
            said = str(stand.map("CB-001")[1].error)
            assert "after host CB-001 was switched off; treat it as live, do not unplug it" in said

    def test_a_known_voltage_that_is_wrong_after_the_pins_proves_nothing(self, tmp_path: Path):
        """The zeros in between are not earned: stopped, and off."""
        with host_stand(tmp_path) as stand:
            wiring = stand.running.instruments.meter._wiring
            stand.watcher.on_line = _once("host unused", lambda: setattr(wiring, "_reference_V", 0.0))
            said = refused(stand, "CB-001", BenchError)
            assert "reference after the pins: the known 5.000 V reads" in said

    def test_a_needle_that_came_loose_on_the_way_is_noticed(self, tmp_path: Path):
        """The zero on the unused pin counts only if its needles still touch when the host is off again."""
        with host_stand(tmp_path) as stand:
            rack, needle = stand.running.rack, stand.running.rack.needle_ohms

            def loosened() -> None:
                rack.needle_ohms = lambda terminal: None if terminal == "host.8" else needle(terminal)

            stand.watcher.on_line = _once("reference after", loosened)
            assert "contact host.8 (206) once more" in refused(stand, "CB-001")


class TestHandlerOfHosts:
    """The handler that switches."""

    def test_it_reads_back(self, stand: HostStand):
        """On is on at the host, off is off; the log has both."""
        prove(stand, "CB-902")
        states = [entry.text for entry in stand.running.log.states("host")][-2:]
        assert states == ["CB-902 on", "CB-902 off"]

    def test_a_plug_in_no_host_is_not_switched(self, tmp_path: Path):
        """The instrument refuses it."""
        with host_stand(tmp_path) as stand, pytest.raises(InstrumentRefused, match="in no host"):
            stand.switch.on("CB-001")

    def test_a_handler_that_knows_no_hosts_says_so(self, stand: HostStand):
        """The person switches then."""
        handler = stand.station.bench.handler
        assert handler is not None
        known, bare = handler.dialect, {"host_on": None, "host_off": None, "host": None}
        handler.dialect = known.model_copy(update=bare)
        try:
            assert not handler.can_switch_hosts
            with pytest.raises(SetupError, match="has no host_on, so it cannot switch a host; do it by hand"):
                handler.switch_host(on=True)
            with pytest.raises(SetupError, match="look at the host's lamp"):
                handler.host_is_on()
        finally:
            handler.dialect = known


def _once(name: str, act: Callable[[], object]) -> Callable[[Line], None]:
    """Do something once, after the line of a measurement."""
    waiting = [act]

    def on_line(line: Line) -> None:
        if line.measurement.name == name and waiting:
            waiting.pop()()

    return on_line


def _open_interlock(stand: HostStand) -> None:
    stand.running.rack.interlock_ohms = None


def _on(stand: HostStand) -> None:
    assert stand.station.bench.handler is not None
    stand.station.bench.handler.switch_host(on=True)


def _raise(error: BaseException) -> None:
    raise error
