"""Learning what a stranger speaks: the right style is found, nothing is set, and the draft is a dialect."""

from __future__ import annotations

from pathlib import Path

import pytest
from dialects import in_styles
from stations import demo_setup

from batchtest.bench.dialect import load_dialect
from batchtest.bench.learning import KINDS, Learned, draft, learn
from batchtest.bench.port import Wiring
from batchtest.clock import VirtualClock
from batchtest.errors import BenchError
from batchtest.nouns import Role
from batchtest.simulated import RunningBench, start_bench
from test_bench.links import manager

HASTE_S = 0.05


def learned_of(running: RunningBench, role: str) -> Learned:
    """What is learned of an instrument of a running bench."""
    address = running.addresses[Role(role)]
    wiring = Wiring(address=address, read_ending="\n", write_ending="\n", baud=None, open_s=1.0)
    with manager() as made:
        return learn(made, role, wiring, HASTE_S)


@pytest.mark.parametrize(
    ("style", "ending"),
    [
        ("meter-confread", "LF"),
        ("meter-rate", "CR"),
        ("load-modes", "LF"),
        ("load-integers", "LF"),
        ("load-frames", "none"),
        ("supply-named", "LF"),
        ("supply-setout", "LF"),
        ("scanner-slots", "LF"),
    ],
)
def test_the_style_is_known_by_what_it_answers(tmp_path: Path, style: str, ending: str) -> None:
    """All its questions are understood, more than of any other; nothing was set or switched; the draft is a dialect."""
    role = style.partition("-")[0]
    with start_bench(in_styles(demo_setup(), style), VirtualClock()) as running:
        running.rack.loads[1].tripped = "current"
        running.log._entries.clear()
        learned = learned_of(running, role)
        assert [message for message in running.log.commands(role) if "?" not in message] == []
        assert [entry for entry in running.log.states() if not entry.text.startswith("error ")] == []
        assert running.rack.loads[1].tripped == "current"
    best, *others = learned.candidates
    assert (best.name, best.understood, learned.ending) == (style, best.questions, ending)
    assert all(other.share < best.share for other in others)
    (tmp_path / f"{role}-hall.toml").write_text(draft(learned))
    own = load_dialect(f"{role}-hall", KINDS[role], tmp_path)
    shipped = load_dialect(style, KINDS[role])
    assert own.model_copy(update={"identity": ".*"}) == shipped
    assert "Glasshouse Bench Works" in own.identity


def test_what_was_not_understood_stands_in_the_draft(tmp_path: Path) -> None:
    """Each open question by field and reply, so that a person knows where to look."""
    with start_bench(demo_setup(), VirtualClock()) as running:
        learned = learned_of(running, "handler")
    text = draft(learned)
    assert "# open: cable: 'NEST:CABL?'" not in text
    assert "# open: host: 'NEST:HOST?' was answered with None" in text


def test_nobody_there_is_said() -> None:
    """An address where nothing listens is a bench fault, whatever the endings."""
    wiring = Wiring(address="TCPIP0::127.0.0.1::9::SOCKET", read_ending="\n", write_ending="\n", baud=None, open_s=0.2)
    with manager() as made, pytest.raises(BenchError, match=r"load: TCPIP0::.* does not say who it is, whatever"):
        learn(made, "load", wiring, HASTE_S)
