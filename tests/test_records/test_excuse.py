"""What waivers excuse: where and when they hold, and which lines they take out of the count."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stations import demo_setup

from batchtest.files.library import Setup
from batchtest.nouns import Judgement, Phase, Verdict
from batchtest.records.excuse import CHALLENGE, counted, excuse_of, excusing, expired, in_force, latest_time
from batchtest.records.journal import Journal
from batchtest.records.record import read_record
from test_records.contexts import CONTEXT, MEASUREMENT, STARTED, a_line, close, closed
from test_records.waivers import WAIVER, WRITTEN, a_waiver

ID = "id resistor of vent-lead"


@pytest.fixture(scope="module")
def setup() -> Setup:
    """The demo's setup."""
    return demo_setup()


def gate_line(verdict: Verdict | None = Verdict.FAIL, name: str = ID, phase: Phase = Phase.GATE):
    """A line of the gate."""
    measurement = replace(MEASUREMENT, name=name, phase=phase)
    return replace(a_line(), measurement=measurement, judgement=None if verdict is None else Judgement(verdict=verdict))


def test_a_waiver_holds_until_its_expiry(setup):
    """To the last moment before it, and not at it: then it is told as expired."""
    last = WAIVER.expires - timedelta(microseconds=1)
    assert in_force([WAIVER], setup, last) == (WAIVER,)
    assert expired([WAIVER], setup, last) == ()
    assert in_force([WAIVER], setup, WAIVER.expires) == ()
    assert expired([WAIVER], setup, WAIVER.expires) == (WAIVER,)


@pytest.mark.parametrize("key", ["station", "bench", "board", "fixture", "cable"])
def test_a_waiver_holds_only_where_it_was_written_for(setup, key):
    """Another bench, nest, lead or board type has waivers of its own."""
    other = a_waiver(**{key: "other"})
    assert in_force([other, WAIVER], setup, WRITTEN) == (WAIVER,)
    assert expired([other], setup, WAIVER.expires) == ()


def test_the_first_waiver_that_names_a_reading_excuses_it():
    """By its whole name; the challenge by a name of its own."""
    first, second = a_waiver(number=1), a_waiver(number=2, readings=(CHALLENGE, ID))
    assert excusing([first, second], ID) is first
    assert excusing([first, second], CHALLENGE) is second
    assert excusing([first, second], "id resistor") is None


@pytest.mark.parametrize(
    ("line", "excused"),
    [
        pytest.param(gate_line(Verdict.FAIL), True, id="fails"),
        pytest.param(gate_line(Verdict.UNREAD), True, id="unread"),
        pytest.param(gate_line(Verdict.DOUBTFUL), True, id="doubtful"),
        pytest.param(gate_line(Verdict.PASS), False, id="passes"),
        pytest.param(gate_line(None), False, id="not-judged"),
        pytest.param(gate_line(name="residual feed after rest"), False, id="other-reading"),
        pytest.param(gate_line(phase=Phase.SOFT_START), False, id="powered"),
    ],
)
def test_only_a_named_reading_of_the_gate_that_did_not_pass_needs_an_excuse(line, excused):
    """What is excused does not decide the outcome; everything else does."""
    assert (excuse_of(line, [WAIVER]) is WAIVER) is excused
    assert counted([line], [WAIVER]) == ([] if excused else [line])
    assert counted([line], []) == [line]


@given(st.lists(st.sampled_from([gate_line(verdict, name) for verdict in Verdict for name in (ID, "x", CHALLENGE)])))
def test_a_waiver_takes_out_nothing_but_what_it_names(lines):
    """What is left is in order, and every line that was taken out is named by the waiver and did not pass."""
    left = counted(lines, [WAIVER])
    assert [line for line in lines if line.measurement.name != ID or line.judgement.verdict is Verdict.PASS] == left


def test_a_record_carries_the_waivers_it_was_made_under(tmp_path: Path):
    """The judgement stays as it was; the context says who answered for it."""
    waiver = a_waiver(number=1, sha256="ab" * 32)
    with Journal.claim(tmp_path, replace(CONTEXT, waivers=(waiver,))) as journal:
        journal.write(gate_line())
        found = read_record(tmp_path / close(journal).record)
    assert found.context.waivers == (waiver,)
    assert found.lines[0].judgement.verdict is Verdict.FAIL
    assert found.unaltered


def test_a_record_of_before_there_were_waivers_is_still_unaltered(tmp_path: Path):
    """A context without the key is one without waivers."""
    import json

    from batchtest.records.chain import canonical, link_hash
    from batchtest.records.metadata import BLOCK

    path = tmp_path / closed(tmp_path).record
    metadata = path.with_name(f"{path.name}-metadata.json")
    described = json.loads(metadata.read_text())
    block = described[BLOCK]
    del block["context"]["waivers"], block["sha256"]
    block["sha256"] = link_hash(block["previous_sha256"], block["csv_sha256"], canonical(block))
    metadata.write_text(json.dumps(described))
    found = read_record(path)
    assert (found.context.waivers, found.unaltered) == ((), True)


def test_a_clock_set_back_does_not_revive_a_waiver(tmp_path: Path, setup):
    """The batch's own records say how late it is; a damaged one does not stop that."""
    folder = tmp_path / "spring-1"
    closed(tmp_path)
    (folder / "VN-0002.1.csv").write_text("")
    ended = STARTED + timedelta(seconds=90)
    set_back = STARTED - timedelta(days=100)
    waiver = a_waiver(expires=ended)
    assert latest_time(folder, [waiver], set_back) == ended
    assert in_force([waiver], setup, latest_time(folder, [waiver], set_back)) == ()


def test_it_is_never_earlier_than_the_last_waiver(tmp_path: Path):
    """Nor is a batch's folder needed; the wall clock stands where it is ahead."""
    assert latest_time(tmp_path / "none", [WAIVER], WRITTEN - timedelta(days=3)) == WRITTEN
    assert latest_time(tmp_path / "none", [], WRITTEN) == WRITTEN
    assert latest_time(tmp_path, [WAIVER], WRITTEN + timedelta(days=1)) == WRITTEN + timedelta(days=1)
