"""The cable in the fixture: what a waiver excuses of it and what never, and how a board that reads oddly is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from stations import Stand, demo_setup, stand
from test_records.waivers import a_waiver

from batchtest.errors import NotProven
from batchtest.files.library import Setup
from batchtest.nouns import Attempt, Outcome, Verdict, Waiver
from batchtest.records.waiver import read_waivers, write_waiver

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

ID, SPARE = "id resistor of vent-lead", "pin map spare"
NOW = datetime.now().astimezone()


def waived(reports: Path, *names: str, hours: float = 72.0) -> tuple[Waiver, ...]:
    """A waiver of these readings for the batch, written to the disk and read back; over in some hours."""
    written = NOW - timedelta(days=2)
    wanted = a_waiver(batch="try", readings=names, written=written, expires=NOW + timedelta(hours=hours))
    write_waiver(reports, wanted)
    return read_waivers(reports, "try")


def without_id(setup: Setup, cable: str = "vent-lead") -> Setup:
    """The setup with the id resistor of a cable truly off."""
    bare = setup.cables[cable].model_copy(update={"id_resistor": None})
    cables = {**setup.cables, cable: bare}
    return replace(setup, cables=cables, cable=cables[setup.fixture.cable])


def refused(station: Stand, serial: str = "VN-0001") -> tuple[Attempt, NotProven]:
    """The attempt that ends the batch, and what it ends it with."""
    attempts = station.attempts([serial, "VN-0999"])
    attempt = next(attempts)
    with pytest.raises(NotProven) as found:
        next(attempts)
    assert attempt.outcome is Outcome.REFUSED
    return attempt, found.value


def switched_on(station: Stand) -> int:
    """How often the supply was switched on or set while on, by the bench's own log."""
    return sum(entry.text.endswith(" on") for entry in station.running.log.states("supply"))


def not_passed(attempt: Attempt) -> list[tuple[str, Verdict]]:
    """Name and verdict of the judged lines that did not pass."""
    judged = [(line.measurement.name, line.judgement.verdict) for line in attempt.lines if line.judgement]
    return [(name, verdict) for name, verdict in judged if verdict is not Verdict.PASS]


class TestWaiver:
    """What two people may answer for, and what not."""

    def test_without_one_a_lost_id_resistor_is_refused(self, tmp_path: Path):
        """The gate names it, since it is all that is wrong."""
        with stand(tmp_path, true=without_id(demo_setup())) as station:
            _, error = refused(station)
            assert "reads like vent-lead in which the id resistor is off" in str(error)
            assert (error.looks_like, error.told_by) == ("", (ID,))
            assert not station.was_powered

    def test_a_lost_id_resistor_is_excused_and_its_failing_lines_stay(self, tmp_path: Path):
        """The board passes; both readings of the id, at the gate and before power, are in the record as they were."""
        with stand(tmp_path, true=without_id(demo_setup())) as station:
            station.waivers = waived(tmp_path, ID)
            (attempt,) = station.test("VN-0001")
            assert (attempt.outcome, attempt.first_cause) == (Outcome.PASS, None)
            assert not_passed(attempt) == [(ID, Verdict.FAIL)] * 2
            assert station.was_powered

    @pytest.mark.parametrize("cable", ["long-lead", "mist-lead"])
    def test_another_cable_known_by_its_own_id_is_never_excused(self, tmp_path: Path, cable: str):
        """A waiver answers for an id that is missing, not for one that is another cable's: refused by its name."""
        with stand(tmp_path, demo_setup(cable=cable)) as station:
            station.waivers = waived(tmp_path, ID)
            attempt, error = refused(station)
            assert error.looks_like == cable
            assert attempt.lines[-1].measurement.name.startswith("pin map"), "no later than here"
            assert f"reads like {cable}: its " in str(error)
            assert ID in error.told_by
            assert not station.was_powered

    def test_another_cable_without_its_id_is_refused_by_what_is_left(self, tmp_path: Path):
        """The id waived and truly off, mist-lead fitted: the pin map alone tells it by its name."""
        with stand(
            tmp_path, demo_setup(cable="mist-lead"), true=without_id(demo_setup(cable="mist-lead"), "mist-lead")
        ) as station:
            station.waivers = waived(tmp_path, ID)
            _, error = refused(station)
            assert error.looks_like == "mist-lead"
            assert error.told_by == (SPARE,)
            assert not station.was_powered

    def test_with_the_pin_map_waived_the_id_still_tells(self, tmp_path: Path):
        """mist-lead under a waiver of the reading that tells it best: refused by its name, from its id."""
        with stand(tmp_path, demo_setup(cable="mist-lead")) as station:
            station.waivers = waived(tmp_path, SPARE)
            _, error = refused(station)
            assert (error.looks_like, error.told_by) == ("mist-lead", (ID, SPARE))
            assert not station.was_powered

    def test_with_all_readings_that_tell_it_waived_another_cable_is_refused_all_the_same(self, tmp_path: Path):
        """All that is wrong is excused, and still it is mist-lead."""
        with stand(tmp_path, demo_setup(cable="mist-lead")) as station:
            station.waivers = waived(tmp_path, ID, SPARE)
            _, error = refused(station)
            assert error.looks_like == "mist-lead"
            assert not station.was_powered

    def test_another_cable_fitted_after_the_proof_is_refused_although_its_id_is_waived(self, tmp_path: Path):
        """Immediately before the output goes on the id is read again, and is another cable's."""

        def swap(line: object) -> None:
            if len(station.watcher.lines) == sum(len(each.measurements) for each in station.procedure.gate):
                with station.running.rack.lock:
                    station.running.rack.fit_cable("long-lead", station.station.bench.clock.now())

        with stand(tmp_path, true=without_id(demo_setup())) as station:
            station.waivers = waived(tmp_path, ID)
            station.watcher.on_line = swap
            _, error = refused(station)
            assert error.looks_like == "long-lead"
            assert not station.was_powered

    def test_one_that_is_over_excuses_nothing(self, tmp_path: Path):
        """From its expiry on the same cable is refused; the record names no waiver."""
        with stand(tmp_path, true=without_id(demo_setup())) as station:
            station.waivers = waived(tmp_path, ID, hours=-0.01)
            _, error = refused(station)
            assert error.told_by == (ID,)
            assert not station.was_powered


class TestMemory:
    """A cable that was right with the board before speaks for itself."""

    def test_a_board_that_reads_like_a_cut_wire_fails_and_a_second_in_a_row_ends_the_batch(self, tmp_path: Path):
        """Input diode open: after a proven board it is that board's fault, two in a row speak against the cable."""
        with stand(tmp_path, demo_setup({"VN-0002": "DREV open", "VN-0003": "DREV open"})) as station:
            attempts = station.attempts(["VN-0001", "VN-0002", "VN-0003", "VN-0004"])
            assert next(attempts).outcome is Outcome.PASS
            powered = switched_on(station)
            assert [next(attempts).outcome, next(attempts).outcome] == [Outcome.FAIL, Outcome.REFUSED]
            with pytest.raises(NotProven, match=r"reads like vent-lead in which BN is cut or .* Nothing was powered"):
                next(attempts)
            assert switched_on(station) == powered
            assert [each.outcome for each in station.test("VN-0004")] == [Outcome.PASS]

    def test_what_nothing_known_explains_is_refused_where_the_board_is_good(self, tmp_path: Path):
        """mist-lead without its id resistor is no cable of the library: the readings that are not right are named."""
        setup = demo_setup(cable="mist-lead")
        with stand(tmp_path, setup, true=without_id(setup, "mist-lead")) as station:
            attempt, error = refused(station)
            assert "reads like no cable of the library" in str(error)
            assert (error.looks_like, error.told_by) == ("", (ID, SPARE))
            assert "supply-short" in {line.measurement.name for line in attempt.lines}
            assert not station.was_powered
