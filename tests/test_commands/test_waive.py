"""`batchtest waive`: what may be waived, until when, and what the person is told."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from stations import ROOT, demo_setup, derive_once
from test_records.waivers import a_waiver

from batchtest.commands import program
from batchtest.commands.waive import check_readings, check_rest, check_waivers, expiry, untold, waivable
from batchtest.errors import RecordError, SetupError
from batchtest.files.bench import Interlock
from batchtest.files.library import Setup
from batchtest.procedure import Procedure
from batchtest.procedure.actions import CheckCold, CheckInterlock, Identify, ProveContact, ProvePinMap
from batchtest.records.waiver import read_waivers

ID = "id resistor of vent-lead"
INSTRUMENTS = ["calibration of meter", "calibration of load", "calibration of supply", "warm-up of meter"]
WANTED = {
    "--bench": "simulated",
    "--batch": "spring",
    "--reading": ID,
    "--by": "K. Ahn",
    "--and": "M. Osei",
    "--reason": "the resistor in the hood broke off; continuity checked by hand",
}


@pytest.fixture(scope="module")
def setup() -> Setup:
    """The demo's setup."""
    return demo_setup()


@pytest.fixture(scope="module")
def procedure(setup: Setup) -> Procedure:
    """The procedure that follows from it."""
    return derive_once(setup)


def waive(reports: Path, monkeypatch: pytest.MonkeyPatch, *more: str, **changes: str) -> None:
    """Run the command in the demo's folder; its errors are raised."""
    monkeypatch.chdir(ROOT)
    until = (date.today() + timedelta(days=10)).isoformat()
    options = {**WANTED, "--until": until, **{f"--{name}": value for name, value in changes.items()}}
    arguments = [word for option in options.items() for word in option]
    program.main(["waive", "vent-nest", *arguments, "--reports", str(reports), *more], standalone_mode=False)


def test_two_people_waive_a_reading(tmp_path, monkeypatch, capsys):
    """The file holds what was said, for this bench, board, fixture, cable and batch; the person sees it all."""
    waive(tmp_path, monkeypatch)
    (waiver,) = read_waivers(tmp_path, "spring")
    assert (waiver.station, waiver.bench, waiver.board) == ("bench-1", "simulated", "vent")
    assert (waiver.fixture, waiver.cable, waiver.readings) == ("vent-nest", "vent-lead", (ID,))
    assert waiver.people == ("K. Ahn", "M. Osei")
    assert timedelta() <= datetime.now(UTC) - waiver.written < timedelta(minutes=5)
    said = capsys.readouterr().out
    for part in (ID, "K. Ahn and M. Osei", WANTED["--reason"], "23:59", str(tmp_path / "spring" / "waiver.1.json")):
        assert part in said


def test_the_person_is_told_which_cables_nothing_tells_apart_now(tmp_path, monkeypatch, capsys):
    """Without the id resistor, vent-lead is long-lead to every reading."""
    waive(tmp_path, monkeypatch)
    assert "no reading tells vent-lead from long-lead now: look at the cable" in capsys.readouterr().out


def test_nothing_is_said_of_cables_that_are_still_told_apart(tmp_path, monkeypatch, capsys):
    """The challenge's age has no part in that."""
    waive(tmp_path, monkeypatch, reading="challenge")
    assert "no reading tells" not in capsys.readouterr().out


def test_machines_get_one_object(tmp_path, monkeypatch, capsys):
    """--json: the waiver, its file, and the cables that nothing tells apart now."""
    waive(tmp_path, monkeypatch, "--json")
    found = json.loads(capsys.readouterr().out)
    assert found["file"] == str(tmp_path / "spring" / "waiver.1.json")
    assert (found["number"], found["readings"], found["untold"]) == (1, [ID], ["long-lead"])


def test_a_second_waiver_adds_to_the_first(tmp_path, monkeypatch, capsys):
    """The age of the challenge is waived by name; what the first one excuses is still not told apart."""
    waive(tmp_path, monkeypatch)
    waive(tmp_path, monkeypatch, "--json", reading="challenge")
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["untold"] == ["long-lead"]
    assert [waiver.readings for waiver in read_waivers(tmp_path, "spring")] == [(ID,), ("challenge",)]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        pytest.param({"and": "k ahn"}, "takes two different people", id="one-person"),
        pytest.param({"until": (date.today() + timedelta(days=31)).isoformat()}, "over 30; write one up to", id="far"),
        pytest.param({"until": "tomorrow"}, "--until 'tomorrow' is no time", id="no-time"),
        pytest.param({"reading": "id resistor of vent-led"}, f"did you mean '{ID}'", id="near-miss"),
        pytest.param({"batch": "../x"}, "cannot be a file name", id="batch"),
        pytest.param({"bench": "simulatd"}, "did you mean 'simulated'", id="bench"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(tmp_path, monkeypatch, changes, message):
    """Exit code 2: mend the argument."""
    with pytest.raises(SetupError, match=message):
        waive(tmp_path, monkeypatch, **changes)
    assert not list(tmp_path.rglob("waiver*"))


def test_a_damaged_waiver_is_not_followed_by_another(tmp_path, monkeypatch):
    """The batch's waivers are whole, or nothing goes on."""
    waive(tmp_path, monkeypatch)
    (tmp_path / "spring" / "waiver.1.json").write_text("{}")
    with pytest.raises(RecordError, match=r"waiver\.1\.json is damaged"):
        waive(tmp_path, monkeypatch)


def test_only_proofs_of_needles_and_cable_can_be_waived(setup, procedure):
    """Every reading of those three actions, instruments, and the challenge; none of any other action."""
    proofs = (ProveContact, Identify, ProvePinMap)
    wanted = [each.name for action in procedure.gate if isinstance(action, proofs) for each in action.measurements]
    assert waivable(setup, procedure) == [*wanted, *INSTRUMENTS, "challenge"]
    assert {type(action) for action in procedure.gate} >= {*proofs, CheckCold}
    others = [action for action in (*procedure.gate, *procedure.powered) if not isinstance(action, proofs)]
    for measurement in (each for action in others for each in action.measurements):
        with pytest.raises(SetupError, match="cannot be waived by anyone"):
            check_readings([measurement.name], setup, procedure)


@pytest.mark.parametrize("kind", ["residual feed after rest", "reference before", "supply current @ 5.00 V in"])
def test_what_guards_people_is_never_waived(setup, procedure, kind):
    """By name: residual voltage, reference, soft start; what can be waived is listed."""
    with pytest.raises(SetupError, match=rf"{kind!r} cannot be waived by anyone[\s\S]*what can be waived[\s\S]*{ID}"):
        check_readings([kind], setup, procedure)


def test_the_interlock_is_never_waived(setup):
    """On a bench that has one."""
    loop = Interlock.model_validate({"scanner": 141, "resistance": {"lower": "900 ohm", "upper": "1.1 kohm"}})
    known = replace(setup, bench=setup.bench.model_copy(update={"interlock": loop}))
    procedure = derive_once(known)
    assert any(isinstance(action, CheckInterlock) for action in procedure.gate)
    with pytest.raises(SetupError, match="'interlock' cannot be waived by anyone"):
        check_readings(["interlock"], known, procedure)


def test_a_waiver_made_by_hand_excuses_nothing_that_guards(procedure):
    """A cold check in a file with a fitting hash: the batch does not begin under it; what may be waived is let pass."""
    check_waivers([a_waiver(readings=(ID, "challenge", "no such reading"))], procedure)
    cold = next(action.measurements[0].name for action in procedure.gate if isinstance(action, CheckCold))
    with pytest.raises(RecordError, match=f"waiver 3 excuses '{cold}', which nobody may; go on in a new batch"):
        check_waivers([a_waiver(number=3, readings=(ID, cold))], procedure)


def test_all_readings_that_are_wrong_are_told_at_once(setup, procedure):
    """One pass mends them all; one that is like nothing gets no guess."""
    with pytest.raises(SetupError) as found:
        check_readings([ID, "zzz", "reference before", "contact TP44"], setup, procedure)
    said = str(found.value).splitlines()
    assert said[0] == "--reading 'zzz' is none of vent-nest; no name is near it"
    assert "cannot be waived by anyone" in said[1]
    assert "did you mean 'contact TP" in said[2]


def test_a_bench_that_asks_for_no_challenge_has_none_to_waive(setup, procedure):
    """There is nothing to excuse."""
    bench = setup.bench.model_copy(update={"challenge_every": None})
    assert "challenge" not in waivable(replace(setup, bench=bench), procedure)


def test_the_cable_as_a_whole_cannot_be_waived(procedure):
    """Some reading must prove it: else a waiver would be the flag that skips the proof."""
    actions = [action for action in procedure.gate if isinstance(action, (Identify, ProvePinMap))]
    names = [each.name for action in actions for each in action.measurements]
    check_rest(names[1:], procedure)
    with pytest.raises(SetupError, match="no reading of vent-nest would have to prove the cable any more"):
        check_rest(names, procedure)


def test_several_waivers_cannot_take_the_cable_out_bit_by_bit(tmp_path, monkeypatch, procedure):
    """What others in force excuse is counted in."""
    actions = [action for action in procedure.gate if isinstance(action, (Identify, ProvePinMap))]
    first, *others = [each.name for action in actions for each in action.measurements]
    waive(tmp_path, monkeypatch, *(word for name in others[:-1] for word in ("--reading", name)), reading=first)
    with pytest.raises(SetupError, match="would have to prove the cable"):
        waive(tmp_path, monkeypatch, reading=others[-1])


def test_cables_are_told_apart_by_what_is_left(procedure):
    """All of them with nothing waived; none once the pin map is waived too, and the reading is back in the count."""
    assert untold([], procedure) == []
    assert untold([ID], procedure) == ["long-lead"]
    everything = [pin.name for pin in procedure.suspects.signature.readings]
    assert set(untold(everything, procedure)) == set(procedure.suspects.signature.distances)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        pytest.param("2026-12-01T17:00:00+01:00", datetime(2026, 12, 1, 16, 0, tzinfo=UTC), id="offset"),
        pytest.param("2026-12-01T17:00:00Z", datetime(2026, 12, 1, 17, 0, tzinfo=UTC), id="utc"),
        pytest.param("2026-12-01t17:00:00.5z", datetime(2026, 12, 1, 17, 0, 0, 500000, tzinfo=UTC), id="lower-case"),
        pytest.param("2026-12-01 17:00:00-05:00", datetime(2026, 12, 1, 22, 0, tzinfo=UTC), id="space"),
        pytest.param("2026-12-01", datetime(2026, 12, 1, 23, 59, 59).astimezone(), id="end-of-day"),
    ],
)
def test_an_expiry_is_a_day_or_a_moment(text, moment):
    """RFC 3339, 5.6: full-date, or date-time with offset."""
    assert expiry(text) == moment
    assert expiry(text).tzinfo is not None


@pytest.mark.parametrize(
    "text",
    [
        "", "20261201", "2026-W49-2", "1.12.2026", "2026-12-01T17:00:00", "2026-12-01T17:00Z", "2026-13-01",
        "2026-02-30", "2026-12-01T25:00:00Z", "2026-12-01T17:00:00+25:00", "2026-12-01\n", "٢٠٢٦-12-01", "0000-01-01",
    ],
)  # fmt: skip
def test_what_is_no_time_is_refused(text):
    """No other spelling is guessed at, least of all one without an offset."""
    with pytest.raises(SetupError, match="write a day such as 2026-12-01"):
        expiry(text)
