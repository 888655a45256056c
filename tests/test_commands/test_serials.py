"""Serials as people give them on the command line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.commands.serials import checked, expand
from batchtest.errors import SetupError


@pytest.mark.parametrize(
    ("text", "serials"),
    [
        pytest.param("VN-0001", ["VN-0001"], id="one"),
        pytest.param("VN-0009..VN-0011", ["VN-0009", "VN-0010", "VN-0011"], id="range-keeps-zeros"),
        pytest.param("VN-0003, VN-0001", ["VN-0003", "VN-0001"], id="order-as-given"),
        pytest.param("7..9", ["7", "8", "9"], id="no-prefix"),
    ],
)
def test_serials_come_in_the_order_given(text: str, serials: list[str]):
    """A range counts up with its leading zeros, single serials stay where they stand."""
    assert expand(text) == serials


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param("VN-0020..VN-0001", r"'VN-0020\.\.VN-0001' is no range; write it such as", id="backwards"),
        pytest.param("VN-01..VN-0002", "is no range", id="digits-differ"),
        pytest.param("VN-0001..MS-0002", "is no range", id="prefix-differs"),
        pytest.param("VN-a..VN-b", "is no range", id="no-number"),
        pytest.param("VN-0001..VN-0003,VN-0002", "names VN-0002 twice; name each once", id="twice"),
    ],
)
def test_a_range_that_is_none_is_refused_with_the_cure(text: str, message: str):
    """What cannot be counted through is an error, not an empty batch."""
    with pytest.raises(SetupError, match=message):
        expand(text)


@given(start=st.integers(0, 9000), count=st.integers(0, 50))
def test_a_range_holds_every_serial_once(start: int, count: int):
    """From A to B there are B - A + 1 serials, all different, the ends included."""
    serials = expand(f"VN-{start:04}..VN-{start + count:04}")
    assert len(set(serials)) == count + 1
    assert (serials[0], serials[-1]) == (f"VN-{start:04}", f"VN-{start + count:04}")


@pytest.mark.parametrize(
    "serial",
    ["VN-1", "vn-0001", "../VN-0001", "VN-0001 ", "", "VN-0001\n"],
    ids=["short", "case", "path", "space", "empty", "newline"],
)
def test_a_serial_of_another_shape_is_refused_never_mended(serial: str):
    """Only a serial of the board type's own pattern becomes a file name."""
    with pytest.raises(SetupError, match="is no serial of vent: those look like VN"):
        checked(serial, r"VN-[0-9]{4}", "vent")


def test_a_pattern_cannot_let_a_path_through():
    """Even where the pattern allows it, a serial is safe as a file name or refused."""
    with pytest.raises(SetupError, match=r"'\.\./x' cannot be a file name"):
        checked("../x", r".*", "vent")
    assert checked("VN-0001", r".*", "vent") == "VN-0001"
