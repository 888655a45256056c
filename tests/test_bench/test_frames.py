"""Frames of 26 bytes: what a message becomes, and what an answer must be to be believed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.bench.frames import SIZE, decode, encode, frame
from batchtest.errors import InstrumentReplyError


def summed(*data: int) -> bytes:
    """A frame of these first bytes, its checksum worked out here once more."""
    body = bytes(data) + bytes(25 - len(data))
    return body + bytes([sum(body) & 0xFF])


@pytest.mark.parametrize(
    ("message", "wire"),
    [
        ("1:10 u8=1", summed(0xAA, 1, 0x10, 1)),
        ("2:18 u32=5000", summed(0xAA, 2, 0x18, 0x88, 0x13)),
        ("3:1C u16=600", summed(0xAA, 3, 0x1C, 0x58, 0x02)),
        ("1:30? u32 u32 u8", summed(0xAA, 1, 0x30)),
        ("0:03", summed(0xAA, 0, 3)),
    ],
)
def test_a_message_becomes_a_frame(message: str, wire: bytes) -> None:
    """Little-endian values behind start, address and command; the checksum is the sum."""
    assert encode(message) == wire
    assert len(wire) == SIZE


@pytest.mark.parametrize(
    ("message", "wrong"),
    [
        pytest.param("CURR 1", "is no message for frames", id="text"),
        pytest.param("1:18 u32=5.5", "is no message for frames", id="point"),
        pytest.param("1:18 u32", "'u32' is no value that fits", id="nothing"),
        pytest.param("1:10 u8=256", "'u8=256' is no value that fits", id="too-large"),
    ],
)
def test_a_message_that_is_no_frame_is_refused(message: str, wrong: str) -> None:
    """A slip in the dialect sends nothing."""
    with pytest.raises(InstrumentReplyError, match=wrong):
        encode(message)


@given(st.integers(0, 2**32 - 1), st.integers(0, 2**16 - 1), st.integers(0, 255))
def test_values_come_back_as_they_went(first: int, second: int, third: int) -> None:
    """What an instrument packs is read as the same numbers."""
    data = first.to_bytes(4, "little") + second.to_bytes(2, "little") + bytes([third])
    assert decode("7:30? u32 u16 u8", frame(7, 0x30, data)) == f"{first},{second},{third}"


@pytest.mark.parametrize(
    ("reply", "wrong"),
    [
        pytest.param(summed(0xAA, 1, 0x31)[:-1] + b"\x00", "is no whole frame", id="checksum"),
        pytest.param(summed(0xAB, 1, 0x31), "is no whole frame", id="start"),
        pytest.param(summed(0xAA, 1, 0x31)[:20], "is no whole frame", id="short"),
        pytest.param(summed(0xAA, 2, 0x31), "is another's", id="other-unit"),
        pytest.param(summed(0xAA, 1, 0x32), "is another's", id="other-command"),
        pytest.param(summed(0xAA, 1, 0x06, 0xA0), "was refused with code 160", id="refused"),
        pytest.param(summed(0xAA, 1, 0x06, 0x00), "was refused with code 0", id="taken-is-no-answer"),
    ],
)
def test_an_answer_that_is_not_this_questions_is_an_error(reply: bytes, wrong: str) -> None:
    """Nothing is made of a frame that is damaged, another unit's, or a refusal."""
    with pytest.raises(InstrumentReplyError, match=wrong):
        decode("1:31? u8", reply)


def test_taken_reads_as_ok_and_text_ends_at_its_zeros() -> None:
    """What a dialect waits for, and what an identity is made of."""
    assert decode("1:10 u8=1", summed(0xAA, 1, 0x06)) == "OK"
    assert decode("0:01? text", frame(0, 1, b"SL-1")) == "SL-1"
