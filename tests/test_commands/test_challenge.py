"""The challenge as a batch asks for it: by itself where the handler can change cables, else by its age."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pytest
from stations import Stand, demo_setup, stand
from test_records.waivers import a_waiver

from batchtest.commands import challenge as room
from batchtest.commands.challenge import age, challenge, require_challenge
from batchtest.commands.screen import PlainScreen
from batchtest.errors import NotProven, RecordError, SetupError
from batchtest.nouns import Challenge
from batchtest.records.challenge import last_challenge
from batchtest.sequencer import Job

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

CURE = "batchtest bench --bench simulated --challenge --fixture vent-nest"


class Person(PlainScreen):
    """Someone who does what the screen asks for: fits cables, places boards."""

    def __init__(self, station: Stand | None = None) -> None:
        self.said = io.StringIO()
        self.asked: list[str] = []
        self._station = station
        super().__init__(self.said)

    def ask(self, prompt: str) -> str:
        """Do it, by hand."""
        assert self._station is not None, f"nobody was to be asked: {prompt}"
        self.asked.append(prompt)
        rack, now = self._station.running.rack, self._station.station.bench.clock.now()
        with rack.lock:
            cable = next((name for name in rack.setup.cables if name in prompt), None)
            rack.place("golden", now) if cable is None else rack.fit_cable(cable, now)
        return ""


def by_hand(station: Stand) -> Stand:
    """The bench's handler places boards, and cannot change cables."""
    handler = station.station.bench.handler
    assert handler is not None
    handler.dialect = handler.dialect.model_copy(update={"fit": None, "cable": None})
    return station


def required(station: Stand, screen: PlainScreen | None = None, job: Job | None = None) -> Challenge | None:
    """What a batch would go by."""
    return require_challenge(station.station, job or station.job(), screen or Person())


def later(monkeypatch: pytest.MonkeyPatch, **by: float) -> None:
    """Let the wall clock of the command be ahead, or behind."""

    class Later(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Any:
            return datetime.now(tz) + timedelta(**by)

    monkeypatch.setattr(room, "datetime", Later)


def test_the_handler_makes_the_challenge_by_itself_and_once(tmp_path: Path):
    """A bench that was never challenged is made to show it; the next batch goes by the same one, and says its age."""
    with stand(tmp_path) as station:
        screen = Person()
        found = required(station, screen)
        assert found is not None
        assert (found.passed, found.wrong) == (True, "mist-lead")
        assert required(station, screen) == found
        why = "mist-lead was refused by its name from pin map spare, and vent-lead accepted after it"
        assert screen.said.getvalue().splitlines() == [
            "challenge: mist-lead must be refused, and vent-lead accepted after it; nothing is powered",
            *[f"challenge, just now: {why}"] * 2,
        ]
        assert not station.was_powered


@pytest.mark.parametrize("fitter", ["handler", "person"])
def test_one_that_has_grown_old_counts_no_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fitter: str):
    """Older than challenge_every, by the wall clock: the handler makes it anew, a person is told to."""
    with stand(tmp_path) as station:
        first = required(station)
        later(monkeypatch, days=6.9)
        assert required(station) == first
        later(monkeypatch, days=7.1)
        if fitter == "person":
            with pytest.raises(NotProven, match=r"the last challenge is 7\.1 d old, 7 d are allowed\. .*--challenge"):
                required(by_hand(station))
        else:
            found = required(station)
            assert found is not None
            assert found != first
            assert found.records == ("challenges/golden.3.csv", "challenges/golden.4.csv")


def test_a_challenge_that_fails_now_ends_the_batch(tmp_path: Path):
    """The right cable is refused too, since another lies in its drawer: exit code 4, with the command."""
    with stand(tmp_path, demo_setup(cable="mist-lead")) as station:
        with pytest.raises(NotProven) as refused:
            required(station)
        said = str(refused.value)
        assert said.startswith("the challenge has failed: mist-lead was refused as it must be, but so was vent-lead")
        assert said.endswith(f"Show that this bench refuses a wrong cable: {CURE} --reports {tmp_path}")
        assert not station.was_powered


def test_where_nobody_changes_cables_the_batch_is_refused_with_the_command(tmp_path: Path):
    """Never challenged: what cures it can be typed as it stands, with the folder of the reports."""
    with stand(tmp_path) as station, pytest.raises(NotProven) as refused:
        required(by_hand(station))
    assert str(refused.value) == (
        "this bench was never challenged with this fixture. Nothing was powered. "
        f"Show that this bench refuses a wrong cable: {CURE} --reports {tmp_path}"
    )


def test_a_challenge_from_the_future_counts_for_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A clock that was set back would make any challenge young for ever."""
    with stand(tmp_path) as station:
        found = required(station)
        assert found is not None
        later(monkeypatch, minutes=-5)
        at = found.at.isoformat(timespec="seconds")
        with pytest.raises(NotProven) as refused:
            required(by_hand(station))
        assert str(refused.value).startswith(f"the last challenge lies in the future ({at}): a clock was set back. ")
        assert age(found) == f"in the future, {at}"


def test_a_record_altered_afterwards_ends_the_batch(tmp_path: Path):
    """One byte of the first record: no batch goes by that challenge, and none is made over it."""
    with stand(tmp_path) as station:
        found = required(station)
        assert found is not None
        csv = tmp_path / found.records[0]
        csv.write_bytes(csv.read_bytes().replace(b"vent-lead", b"vent-leaf", 1))
        with pytest.raises(
            RecordError, match=r"its record challenges/golden\.1\.csv does not; challenge the bench again"
        ):
            required(station)


def excusing_age(station: Stand) -> Job:
    """A job with a waiver of the challenge's age."""
    now = datetime.now().astimezone()
    waiver = a_waiver(number=1, batch="try", readings=("challenge",), written=now, expires=now + timedelta(days=3))
    return replace(station.job(), waivers=(waiver,))


def test_the_age_can_be_waived(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Two people answer for a bench that was never challenged, or long ago; no challenge counts then."""
    with stand(tmp_path) as station:
        by_hand(station)
        assert required(station, job=excusing_age(station)) is None
        challenge(station.station, station.job(), Person(station))
        later(monkeypatch, days=8)
        assert required(station, job=excusing_age(station)) is None
        with pytest.raises(NotProven, match=r"8\.0 d old"):
            required(station)


@pytest.mark.parametrize("fitter", ["handler", "person"])
def test_a_failure_cannot_be_waived(tmp_path: Path, fitter: str):
    """A waiver answers for the age of a challenge, never for a bench that has just shown that it cannot be trusted."""
    with stand(tmp_path, demo_setup(cable="long-lead")) as station:
        if fitter == "person":
            challenge(station.station, station.job(), Person(by_hand(station)))
        with pytest.raises(NotProven, match=r"challenge has failed: mist-lead was refused .* but so was vent-lead"):
            required(station, job=excusing_age(station))


def test_a_person_is_asked_for_cables_and_board(tmp_path: Path):
    """Without a handler: both cables by their names with the outputs off, and a board that is known to be good."""
    with stand(tmp_path) as station:
        station.station.bench.handler = None
        person = Person(station)
        found = challenge(station.station, station.job(), person)
        assert found.passed
        board = "put a board that is known to be good into vent-nest, close the lid, press Enter "
        fit = "outputs are off: plug {} in at both ends, press Enter "
        assert person.asked == [fit.format("mist-lead"), board, fit.format("vent-lead"), board]


def test_a_bench_that_asks_for_none_needs_none(tmp_path: Path):
    """No challenge_every in its file, or one cable alone in the library: there is nothing to be shown."""
    with stand(tmp_path) as station:
        setup = station.station.setup
        bare = replace(setup, bench=setup.bench.model_copy(update={"challenge_every": None}))
        alone = replace(setup, cables={"vent-lead": setup.cable})
        for without in (bare, alone):
            station.station = replace(station.station, setup=without)
            assert required(station) is None
        assert last_challenge(tmp_path, setup) is None


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        pytest.param("long-led", "--cable 'long-led' is no wrong cable for vent-nest; did you mean", id="near-miss"),
        pytest.param("vent-lead", "--cable 'vent-lead' is no wrong cable for vent-nest", id="the-right-one"),
    ],
)
def test_only_a_wrong_cable_of_the_library_challenges(tmp_path: Path, wrong: str, message: str):
    """The fixture's own proves nothing, and one that nobody knows has no name to be refused by."""
    with stand(tmp_path) as station, pytest.raises(SetupError, match=message):
        challenge(station.station, station.job(), Person(), wrong)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0.5, "just now"), (1.0, "1 min ago"), (119.0, "119 min ago"), (121.0, "2 h ago"), (2.4 * 1440, "2 d ago")],
)
def test_an_age_is_said_in_words(minutes: float, said: str):
    """Minutes, hours or days, whichever is read at a glance."""
    at = datetime.now().astimezone() - timedelta(minutes=minutes)
    found = Challenge(
        station="", bench="", fixture="", cable="", wrong="", passed=True, why="", told_by="", at=at, records=("", "")
    )
    assert age(found) == said
