"""The demo's own files are right, and say what the demo needs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from batchtest.files.library import bench_names, cable_names, fixture_names, load_bench, load_cable, load_setup

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("bench", ["simulated", "lan"])
def test_the_demo_loads_without_a_fault(bench: str) -> None:
    """What a newcomer copies works as it stands."""
    assert load_setup(ROOT, "vent-nest", bench).board == "vent"


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


def test_the_first_boards_hold_a_short_a_wrong_divider_and_a_subtle_fault() -> None:
    """A demo batch of twenty shows every kind of failure, named in the file and so reproducible."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    assert setup.bench.simulation is not None
    boards = setup.bench.simulation.boards
    assert {"RL5 short", "R5B open", "RS12 short"} <= set(boards.values())
    assert all(re.fullmatch(setup.limits.serials, serial) and serial <= "VN-0020" for serial in boards)
