"""What is sent of a reply that something befalls."""

from __future__ import annotations

import pytest

from batchtest.simulated.mishaps import Mishap


@pytest.mark.parametrize(
    ("mishap", "pieces"),
    [
        pytest.param(Mishap(), [(0.0, b"12\n")], id="none"),
        pytest.param(Mishap(late_s=3.0), [(3.0, b"12\n")], id="late"),
        pytest.param(Mishap(keep=1), [(0.0, b"1")], id="cut"),
        pytest.param(Mishap(keep=0), [], id="cut-to-nothing"),
        pytest.param(Mishap(no_ending=True), [(0.0, b"12")], id="no-ending"),
        pytest.param(Mishap(drop=True, refuse_s=1.0), [], id="dropped"),
        pytest.param(Mishap(drip_s=2.0), [(0.0, b"1"), (2.0, b"2"), (2.0, b"\n")], id="drip"),
        pytest.param(Mishap(garbage=b"#"), [(0.0, b"#\n")], id="garbage"),
    ],
)
def test_a_mishap_says_which_bytes_are_sent_and_when(mishap: Mishap, pieces: list[tuple[float, bytes]]) -> None:
    """A transport has only to wait and to send."""
    assert list(mishap.pieces(b"12")) == pieces


def test_an_interface_that_marks_the_end_itself_sends_no_ending() -> None:
    """The ending is the transport's."""
    assert list(Mishap().pieces(b"12", ending=b"")) == [(0.0, b"12")]
