"""Limits as values: bounds however they were written, and the count of load points."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from batchtest.files.limits import LimitsFile, RailLimit, load_points, rail_bounds
from batchtest.quantities import write


def rail(nominal: str, *entries: dict[str, str]) -> RailLimit:
    """A rail from its nominal voltage and the entries of `at`."""
    return RailLimit.model_validate({"nominal": nominal, "source": "data sheet", "at": list(entries)})


@pytest.mark.parametrize(
    ("nominal", "entry", "bounds"),
    [
        pytest.param("5 V", {"within": "2 %"}, ("4.9", "5.1"), id="share"),
        pytest.param("-2.4 V", {"within": "10 %"}, ("-2.64", "-2.16"), id="share-of-a-negative-rail"),
        pytest.param("5 V", {"lower": "4.8 V"}, ("4.8", None), id="lower-only"),
        pytest.param("5 V", {"lower": "4.8 V", "upper": "5.3 V"}, ("4.8", "5.3"), id="both"),
    ],
)
def test_bounds_are_volts_however_they_were_written(
    nominal: str, entry: dict[str, str], bounds: tuple[str | None, str | None]
) -> None:
    """A share of nominal lies on both sides of it, whatever its sign."""
    expected = tuple(None if bound is None else Decimal(bound) for bound in bounds)
    limit = rail(nominal, entry)
    assert rail_bounds(limit, limit.at[0]) == expected


@given(st.decimals("-100", "100", places=3).filter(bool), st.integers(0, 100))
def test_the_lower_bound_of_a_share_is_never_above_the_upper(nominal: Decimal, percent: int) -> None:
    """Shares of negative rails do not come out crossed."""
    limit = rail(write(nominal, "V"), {"within": f"{percent} %"})
    lower, upper = rail_bounds(limit, limit.at[0])
    assert lower is not None
    assert upper is not None
    assert lower <= nominal <= upper


@given(st.decimals("-100", "100", places=2), st.decimals("-100", "100", places=2))
def test_bounds_are_taken_exactly_when_they_are_not_crossed(lower: Decimal, upper: Decimal) -> None:
    """A window is refused if and only if nothing could lie in it."""
    entry = {"lower": write(lower, "V"), "upper": write(upper, "V")}
    if lower <= upper:
        assert rail("1 V", entry).at[0].upper == upper
    else:
        with pytest.raises(ValidationError, match="is above upper"):
            rail("1 V", entry)


def test_the_longest_rail_counts_the_load_points() -> None:
    """A rail with one entry holds at all load points of the others."""
    entries = [{"load": "0 A", "within": "2 %"}, {"load": "1 A", "within": "2 %"}]
    rails: dict[str, Any] = {
        "one": {"nominal": "5 V", "source": "x", "at": entries[:1]},
        "two": {"nominal": "5 V", "source": "x", "at": entries},
    }
    limits = LimitsFile.model_validate({"board": "b", "revision": "A", "serials": "B", "rails": rails})
    assert load_points(limits) == 2


def test_a_rail_at_zero_volts_takes_bounds_in_volts() -> None:
    """Only shares of nominal need a nominal voltage: a rail at zero is bounded outright."""
    assert rail("0 V", {"lower": "-10 mV", "upper": "10 mV"}).nominal == 0


def test_limits_are_frozen() -> None:
    """Nobody moves a limit after it was read."""
    with pytest.raises(ValidationError, match="frozen"):
        rail("5 V", {"within": "2 %"}).nominal = Decimal(6)
