"""The demo's own files are right, and say what the demo needs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from batchtest.files.library import bench_names, cable_names, fixture_names, load_bench, load_cable, load_setup

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("bench", ["simulated", "lan"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_the_demo_loads_without_a_fault(board: str, bench: str) -> None:
    """What a newcomer copies works as it stands."""
    setup = load_setup(ROOT, f"{board}-nest", bench)
    assert (setup.board, setup.fixture.cable, setup.fixture.circuit) == (board, f"{board}-lead", f"{board}-nest")


def test_every_file_of_the_demo_is_read() -> None:
    """No fixture, bench or cable lies about that does not load."""
    assert [name for name in fixture_names(ROOT) if not load_setup(ROOT, name, "simulated")] == []
    assert [load_bench(ROOT, name).station for name in bench_names(ROOT)] != []
    assert {name: len(load_cable(ROOT, name).wires) for name in cable_names(ROOT)} == {
        "long-lead": 7,
        "mist-lead": 7,
        "vent-lead": 7,
    }


def test_the_look_alike_cables_differ_in_one_wire() -> None:
    """vent-lead and mist-lead are the trap of the demo: only board pin 6 goes elsewhere."""
    vent, mist = (
        {wire.board: wire.host for wire in load_cable(ROOT, name).wires} for name in ("vent-lead", "mist-lead")
    )
    assert {pin: (vent[pin], mist[pin]) for pin in vent if vent[pin] != mist[pin]} == {6: (5, 6)}


@pytest.mark.parametrize("nest", ["vent-nest", "mist-nest"])
def test_a_terminal_has_one_contact_channel_and_the_nests_agree(nest: str) -> None:
    """Points that share a terminal share its channel; a terminal of both nests has the same channel in both."""
    channels: dict[str, set[int]] = {}
    for name in {nest, "vent-nest"}:
        for point in load_setup(ROOT, name, "simulated").fixture.points.values():
            for terminal, channel in zip((point.plus, point.minus), point.contact, strict=True):
                channels.setdefault(terminal, set()).add(channel)
    assert {terminal: found for terminal, found in channels.items() if len(found) > 1} == {}


@pytest.mark.parametrize("board", ["vent", "mist"])
def test_every_limit_says_where_it_comes_from(board: str) -> None:
    """No limit of the demo is there without a source of its own."""
    limits = load_setup(ROOT, f"{board}-nest", "simulated").limits
    assert all("source" in limit.model_fields_set for limit in (*limits.cold.values(), *limits.rails.values()))


def test_the_first_boards_hold_a_short_a_wrong_divider_and_a_subtle_fault() -> None:
    """A demo batch of twenty shows every kind of failure, named in the file and so reproducible."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    assert setup.bench.simulation is not None
    boards = setup.bench.simulation.boards
    assert {"RL5 short", "R5B open", "DZ12 open", "RS12 short"} <= set(boards.values())
    assert all(re.fullmatch(setup.limits.serials, serial) and serial <= "VN-0020" for serial in boards)
