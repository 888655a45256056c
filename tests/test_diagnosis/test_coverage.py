"""Which faults a procedure sees."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.diagnosis import coverage
from batchtest.diagnosis.groups import APART, together

from .tables import AMONG, attempt_at, small_table


def test_every_fault_of_board_and_nest_is_in_one_of_three_lists():
    """Seen by a limit, only within the limits, or not at all."""
    found = coverage(small_table())
    told = [one.hypothesis.name for one in (*found.seen, *found.within_limits, *found.invisible)]
    wanted = {name for name in AMONG if name != "good" and not name.startswith("cable")}
    assert set(told) == wanted
    assert len(told) == len(wanted)
    assert found.share == pytest.approx(len(found.seen) / len(told))


def test_a_current_limit_that_is_never_reached_is_invisible():
    """Its transistor open moves no reading: the procedure has no overload."""
    assert [one.hypothesis.name for one in coverage(small_table()).invisible] == ["QL12 open-b"]


@pytest.mark.parametrize("fault", ["R5B open", "DZ12 open", "RL5 short", "RS12 short", "R5A short", "host.DS2 open"])
def test_what_is_seen_fails_on_the_bench_too(fault: str):
    """The bench's own attempt does not pass, and what failed first there is what was expected to."""
    [sight] = [one for one in coverage(small_table()).seen if one.hypothesis.name == fault]
    assert sight.fails > 0.9
    attempt = attempt_at(fault)
    assert attempt.outcome.value != "pass"
    if fault in ("R5B open", "RL5 short", "DZ12 open"):
        assert attempt.first_cause is not None
        assert attempt.first_cause.split(":")[0] == sight.first


def test_what_cannot_be_told_apart_names_each_other():
    """The three diodes of the string; two legs of a transistor."""
    sights = {one.hypothesis.name: one for one in coverage(small_table()).seen}
    assert set(sights["host.DS2 open"].alike) == {"host.DS1 open", "host.DS3 open"}
    assert "Q5 open-e" in sights["Q5 open-b"].alike
    assert "R5B open" not in sights["RL5 short"].alike


def test_a_group_takes_what_lies_near_its_first():
    """The likeliest leads; what is near it goes with it, and what is left makes a group of its own."""
    distance = np.full((3, 3), 10 * APART)
    distance[0, 2] = 0.5 * APART
    assert together([7, 8, 9], distance) == [[7, 9], [8]]
