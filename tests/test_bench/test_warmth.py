"""How long an instrument has been on, as far as that can be known."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from batchtest.bench import Bench
from batchtest.bench.templates import in_range
from batchtest.bench.warmth import Warmth
from batchtest.clock import VirtualClock
from batchtest.errors import BenchError, SetupError
from test_bench.benches import scripted_bench
from test_bench.links import linked
from test_bench.scripted import ScriptedInstrument

NOON = datetime.fromisoformat("2026-03-02T12:00:00+00:00")


def after(
    folder: Path, minutes: float, *, register: str = "0", events: str = "*ESR?", warm_up_s: float = 1800
) -> float:
    """Minutes for which the instrument has been on, asked so many minutes past noon."""
    with linked(ScriptedInstrument(answer=lambda unit: register if unit == "*ESR?" else None)) as on:
        now = NOON + timedelta(minutes=minutes)
        return Warmth.of(folder, "bench-1").on_for_s(on.link, "S-1", warm_up_s, events, now) / 60


def test_it_counts_from_the_first_answer(tmp_path: Path) -> None:
    """Nobody can tell what was before that."""
    assert [after(tmp_path, minutes) for minutes in (0, 10, 500)] == [0, 10, 500]


def test_power_on_begins_it_anew(tmp_path: Path) -> None:
    """The register says that it was off in between."""
    assert [after(tmp_path, 0), after(tmp_path, 60), after(tmp_path, 70, register="128")] == [0, 60, 0]
    assert after(tmp_path, 75) == 5


def test_where_the_register_is_not_known_silence_begins_it_anew(tmp_path: Path) -> None:
    """What did not answer for a whole warm-up may have been off."""
    assert [after(tmp_path, minutes, events="") for minutes in (0, 20, 40, 71)] == [0, 20, 40, 0]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("{", id="torn"),
        pytest.param("[]", id="list"),
        pytest.param(
            '{"S-1": {"since": "2026-03-02T13:00:00+00:00", "last": "2026-03-02T13:00:00+00:00"}}', id="future"
        ),
        pytest.param('{"S-1": {"since": "noon"}}', id="no-time"),
    ],
)
def test_a_note_that_cannot_be_believed_is_none(tmp_path: Path, text: str) -> None:
    """It then counts as just switched on."""
    (tmp_path / "bench-1.on.json").write_text(text)
    assert [after(tmp_path, 0), after(tmp_path, 5)] == [0, 5]


def test_opening_notes_it_and_tells_it(tmp_path: Path) -> None:
    """Only of instruments whose warm-up the bench file asks for."""
    with scripted_bench() as scripted:
        scripted.table["meter"]["warm_up"] = "30 min"
        values = scripted.values
        scripted.instruments["meter"].answer = lambda unit: "128" if unit == "*ESR?" else values(unit)
        with Bench.open(scripted.file, "try", VirtualClock(), tmp_path) as bench:
            found = {known.role.value: (known.on_for_s, known.warm_up_s) for known in bench.identities}
    assert found["meter"] == (0.0, 1800.0)
    assert found["supply"] == (None, None)


def test_a_meter_for_other_mains_is_refused(tmp_path: Path) -> None:
    """Its integration would not take the hum out."""
    with scripted_bench() as scripted:
        scripted.values.mains = "60"
        with (
            pytest.raises(SetupError, match=r"cycles of 60 Hz, and the bench file says mains = '50 Hz'"),
            Bench.open(scripted.file, "try", VirtualClock(), tmp_path),
        ):
            pass


def test_a_firmware_outside_the_dialects_range_is_refused(tmp_path: Path) -> None:
    """Nobody has tried the dialect on it."""
    with scripted_bench() as scripted:
        meter = scripted.instruments["meter"]
        meter.identity = meter.identity.replace(",1.0", ",3.01")
        with (
            pytest.raises(BenchError, match=r"firmware '3\.01' is not in '>=1\.0,<3', which dialect 'meter-confread'"),
            Bench.open(scripted.file, "try", VirtualClock(), tmp_path),
        ):
            pass


@pytest.mark.parametrize(
    ("version", "range_", "inside"),
    [
        pytest.param("2.9.1", ">=1.0,<3", True, id="between"),
        pytest.param("1", ">=1.0,<3", True, id="shorter"),
        pytest.param("3.0", ">=1.0,<3", False, id="at-the-open-end"),
        pytest.param("0.9", ">=1.0", False, id="below"),
        pytest.param("A.02.10-00.4", ">=2.9", True, id="letters"),
        pytest.param("beta", ">=0", False, id="no-number"),
        pytest.param("beta", "", True, id="any"),
        pytest.param("1.10", "==1.10,>1.9,<=2", True, id="every-sign"),
    ],
)
def test_versions_are_compared_by_their_numbers(version: str, range_: str, inside: bool) -> None:
    """Number by number, so that 1.10 comes after 1.9."""
    assert in_range(version, range_) is inside
