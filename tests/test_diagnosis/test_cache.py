"""Fault tables kept on disk."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from stations import demo_setup

from batchtest.diagnosis import cached, load_or_build
from batchtest.diagnosis.cache import key_of, load, path_of, save
from batchtest.files.library import Setup

from .tables import small_table


def test_a_table_comes_back_as_it_was(tmp_path: Path):
    """Every hypothesis, column, place and number."""
    table = small_table()
    save(tmp_path, table)
    found = load(tmp_path, table.key)
    assert found is not None
    assert (table.hypotheses, table.columns, table.spots, table.states) == (
        found.hypotheses,
        found.columns,
        found.spots,
        found.states,
    )
    for name in ("mean", "rough", "spread", "over", "limiting"):
        assert np.array_equal(getattr(table, name), getattr(found, name), equal_nan=True)


def test_what_is_kept_is_not_solved_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The table of just this setup is read from its file."""
    setup = demo_setup()
    assert cached(setup, tmp_path) is None
    save(tmp_path, small_table())
    monkeypatch.setattr("batchtest.diagnosis.kept.build_table", lambda *_, **__: pytest.fail("it was solved again"))
    from stations import derive_once

    assert load_or_build(setup, derive_once(setup), tmp_path).key == key_of(setup)


def test_what_is_not_kept_is_made_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The second time it is there."""
    from stations import derive_once

    setup = demo_setup()
    monkeypatch.setattr("batchtest.diagnosis.kept.build_table", lambda *_, **__: small_table())
    load_or_build(setup, derive_once(setup), tmp_path)
    assert cached(setup, tmp_path) is not None


def other_limits(setup: Setup) -> Setup:
    """One limit changed."""
    rail = setup.limits.rails["logic"].model_copy(update={"nominal": Decimal("5.1")})
    return replace(setup, limits=setup.limits.model_copy(update={"rails": {**setup.limits.rails, "logic": rail}}))


def other_part(setup: Setup) -> Setup:
    """One tolerance changed."""
    parts = setup.board_circuit.parts
    part = parts.part["R5B"].model_copy(update={"tolerance": parts.part["RL5"].tolerance})
    changed = parts.model_copy(update={"part": {**parts.part, "R5B": part}})
    return replace(setup, board_circuit=replace(setup.board_circuit, parts=changed))


def other_fixture(setup: Setup) -> Setup:
    """One point changed."""
    point = setup.fixture.points["logic"].model_copy(update={"minus": "TP4"})
    points = {**setup.fixture.points, "logic": point}
    return replace(setup, fixture=setup.fixture.model_copy(update={"points": points}))


def other_meter(setup: Setup) -> Setup:
    """A meter of another accuracy."""
    accuracy = setup.bench.meter.accuracy.model_copy(update={"ohms": setup.bench.meter.accuracy.ohms[:-1]})
    meter = setup.bench.meter.model_copy(update={"accuracy": accuracy})
    return replace(setup, bench=setup.bench.model_copy(update={"meter": meter}))


@pytest.mark.parametrize("change", [other_limits, other_part, other_fixture, other_meter])
def test_the_key_changes_with_what_a_table_follows_from(change):
    """An old table is never taken for another circuit, fixture, meter or other limits."""
    assert key_of(change(demo_setup())) != key_of(demo_setup())


def test_the_key_is_the_same_whatever_is_simulated():
    """Seeds and faults of the simulated bench have no part in it."""
    assert key_of(demo_setup({"VN-0001": "R5B open"}, seed=5)) == key_of(demo_setup())


@pytest.mark.parametrize("kept", [0, 100, 5000])
def test_a_torn_file_is_no_table(tmp_path: Path, kept: int):
    """What is not whole is made anew, and is no error."""
    path = save(tmp_path, small_table())
    path.write_bytes(path.read_bytes()[:kept])
    assert load(tmp_path, small_table().key) is None


def test_a_file_of_another_key_under_this_name_is_no_table(tmp_path: Path):
    """The key inside counts."""
    path = save(tmp_path, small_table())
    path.rename(path_of(tmp_path, "f" * 64))
    assert load(tmp_path, "f" * 64) is None


def test_a_write_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """No half file under any name."""

    def full(*_: object, **__: object) -> None:
        raise OSError("no space left")

    monkeypatch.setattr("batchtest.diagnosis.cache.np.savez", full)
    with pytest.raises(OSError, match="no space left"):
        save(tmp_path, small_table())
    assert list(tmp_path.iterdir()) == []
