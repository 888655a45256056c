"""How likely each fault is before anything was read."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.diagnosis import NEW, RETURNED, Defect, Hypothesis, Kind, Priors, learned

from .tables import AMONG, small_table

PARTS = st.sampled_from(["R5B", "DZ12", "Q5", "host.DS1", "no such part"])


@pytest.mark.parametrize("priors", [NEW, RETURNED], ids=["new", "returned"])
def test_all_shares_sum_to_one(priors: Priors):
    """Kinds, defects of the board, and hypotheses with what is unknown."""
    assert sum(priors.kinds.values()) == pytest.approx(1.0)
    assert sum(priors.defects.values()) == pytest.approx(1.0)
    assert priors.of(small_table().hypotheses).sum() + priors.unknown == pytest.approx(1.0)


@given(cures=st.dictionaries(PARTS, st.integers(0, 50)))
def test_whatever_was_cured_they_are_probabilities(cures: dict[str, int]):
    """None is negative, and with the unknown they sum to 1."""
    found = learned(NEW, cures).of(small_table().hypotheses)
    assert (found >= 0).all()
    assert found.sum() + NEW.unknown == pytest.approx(1.0)


def test_what_cured_boards_gets_likelier_the_more_it_did():
    """Twenty-five cures by one part weigh as much as all that is common practice."""
    place = AMONG.index("DZ12 open")
    shares = [learned(NEW, {"DZ12": count}).of(small_table().hypotheses)[place] for count in (0, 1, 5, 25)]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(0.5 * shares[0] + 0.5 * (1 - NEW.unknown), rel=0.05)


def test_a_cure_by_a_part_that_is_not_there_changes_nothing():
    """Another board's part, or one that was renamed."""
    hypotheses = small_table().hypotheses
    assert learned(NEW, {"no such part": 9}).of(hypotheses) == pytest.approx(NEW.of(hypotheses))


def test_a_returned_board_is_rarely_bridged_or_mixed_up():
    """What assembly does wrong shows when the board is new."""
    one = Hypothesis(name="a-b bridged", kind=Kind.BOARD, defect=Defect.BRIDGE, parts=("R1", "R2"))
    other = Hypothesis(name="R1 open", kind=Kind.BOARD, defect=Defect.OPEN, parts=("R1",))
    new, returned = (priors.of((one, other)) for priors in (NEW, RETURNED))
    assert new[0] / new[1] > 3 * returned[0] / returned[1]


def test_within_a_class_all_are_alike():
    """The table's many wrong values share what one class has."""
    hypotheses = small_table().hypotheses
    found = NEW.of(hypotheses)
    opens = [index for index, one in enumerate(hypotheses) if (one.kind, one.defect) == (Kind.BOARD, Defect.OPEN)]
    assert np.ptp(found[opens]) == pytest.approx(0.0)
