"""Program messages: units, parameters, framing, and whatever bytes may come."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.simulated.scpi import ChannelList, Choice, Framer, Integer, Numeric, ScpiError, boolean, string
from batchtest.simulated.scpi.message import units
from batchtest.simulated.scpi.parameters import block
from test_simulated.test_reference import Recorder

AMPERES = Numeric(0.0, 2.0, default=0.5, unit="A")


def split(message: bytes) -> list[tuple[str, tuple[str | bytes, ...]]]:
    """Headers and tokens of a message."""
    return [(unit.header, unit.tokens) for unit in units(message)]


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        pytest.param(b"", [], id="empty"),
        pytest.param(b" ; ;", [], id="only-semicolons"),
        pytest.param(b"A 1 , 2;B", [("A", ("1", "2")), ("B", ())], id="spaces"),
        pytest.param(b'A "x;y,""z"""', [("A", ('"x;y,""z"""',))], id="quoted"),
        pytest.param(b"A (@1,2), 'b'\r", [("A", ("(@1,2)", "'b'"))], id="expression-and-string"),
        pytest.param(b"A #14a;b\n,1;B?", [("A", (b"a;b\n", "1")), ("B?", ())], id="block-then-number"),
        pytest.param(b"A #HFF", [("A", ("#HFF",))], id="hex"),
    ],
)
def test_a_message_is_cut_into_units(message: bytes, expected: list[object]):
    """Semicolons and commas cut, except inside strings, expressions and blocks."""
    assert split(message) == expected


@pytest.mark.parametrize(
    ("message", "error"),
    [
        pytest.param(b"A\xff", -101, id="header-not-ascii"),
        pytest.param(b"A 1\x01", -101, id="control-sign"),
        pytest.param(b"A ,1", -102, id="comma-first"),
        pytest.param(b"A 1,", -102, id="comma-last"),
        pytest.param(b"A (@1) 2", -103, id="no-comma"),
        pytest.param(b'A "x', -151, id="open-string"),
        pytest.param(b"A #2", -161, id="block-without-length"),
        pytest.param(b"A #1x", -161, id="block-length-no-digit"),
        pytest.param(b"A (@1", -171, id="open-expression"),
    ],
)
def test_what_cannot_be_cut_is_a_numbered_error(message: bytes, error: int):
    """Each fault has the standard's number."""
    with pytest.raises(ScpiError, match=str(error)):
        split(message)


@pytest.mark.parametrize(
    ("parameter", "token", "value"),
    [
        pytest.param(AMPERES, "MIN", 0.0, id="min"),
        pytest.param(AMPERES, "maximum", 2.0, id="max"),
        pytest.param(AMPERES, "DEF", 0.5, id="def"),
        pytest.param(AMPERES, "150 mA", 0.15, id="suffix"),
        pytest.param(AMPERES, "+1.5 e 0", 1.5, id="spaced-exponent"),
        pytest.param(Integer(0, 255), "#B101010", 42, id="binary"),
        pytest.param(Integer(0, 255), "1.6", 2, id="rounded"),
        pytest.param(boolean, "on", True, id="on"),
        pytest.param(boolean, "0.4", False, id="rounds-to-off"),
        pytest.param(boolean, "-1", True, id="any-number"),
        pytest.param(Choice("IMMEDIATE", "BUS"), "immediate", "IMM", id="choice"),
        pytest.param(string, "'it''s'", "it's", id="string"),
        pytest.param(ChannelList(), "(@ 3:1 , 9 )", (3, 2, 1, 9), id="falling-range"),
    ],
)
def test_parameters_are_read(parameter: object, token: str, value: object):
    """Every kind of parameter gives its value."""
    assert callable(parameter)
    assert parameter(token) == value


@pytest.mark.parametrize(
    ("parameter", "token", "error"),
    [
        pytest.param(AMPERES, "3", -222, id="beyond"),
        pytest.param(AMPERES, "1 V", -131, id="other-unit"),
        pytest.param(AMPERES, "1 XA", -131, id="unknown-multiplier"),
        pytest.param(Integer(0, 9), "1 V", -138, id="no-suffix-taken"),
        pytest.param(AMPERES, "1..2", -121, id="bad-digit"),
        pytest.param(AMPERES, "#B2", -121, id="bad-binary-digit"),
        pytest.param(AMPERES, "1e999", -123, id="exponent"),
        pytest.param(AMPERES, "1" * 300, -124, id="digits"),
        pytest.param(AMPERES, f"#H{'F' * 65}", -124, id="hex-digits"),
        pytest.param(AMPERES, "FAST", -104, id="word"),
        pytest.param(AMPERES, '"1"', -104, id="string-for-number"),
        pytest.param(AMPERES, b"1", -104, id="block-for-number"),
        pytest.param(boolean, "YES", -104, id="no-boolean"),
        pytest.param(Choice("BUS"), "BU", -224, id="between-the-forms"),
        pytest.param(string, "word", -104, id="word-for-string"),
        pytest.param(block, "word", -104, id="word-for-block"),
        pytest.param(ChannelList(), "1", -104, id="number-for-list"),
        pytest.param(ChannelList(), "(@1:)", -171, id="open-range"),
        pytest.param(ChannelList(), "(@)", -171, id="empty-list"),
        pytest.param(ChannelList(), "(@1:999999)", -222, id="endless-range"),
        pytest.param(ChannelList(frozenset({1, 3})), "(@1:3)", -222, id="missing-channel"),
    ],
)
def test_wrong_parameters_are_numbered_errors(parameter: object, token: object, error: int):
    """Each has the standard's number."""
    assert callable(parameter)
    with pytest.raises(ScpiError, match=str(error)):
        parameter(token)


@pytest.mark.parametrize(
    ("pieces", "messages"),
    [
        pytest.param([b"A\nB\n"], [b"A", b"B"], id="two"),
        pytest.param([b"A", b"B", b"\n"], [b"AB"], id="in-pieces"),
        pytest.param([b"A #15a\nb\n,2\nB\n"], [b"A #15a\nb\n,2", b"B"], id="line-feed-in-block"),
        pytest.param([b"A #15a\n", b"b\nc\nB\n"], [b"A #15a\nb\nc", b"B"], id="block-in-pieces"),
        pytest.param([b'A "#15\nB\n'], [b'A "#15', b"B"], id="block-sign-in-open-string"),
        pytest.param([b'A " #15"\nB\n'], [b'A " #15"', b"B"], id="block-sign-in-string"),
        pytest.param([b"A #13\nB\n", b"\n"], [b"A #13\nB\n"], id="block-takes-what-it-announces"),
        pytest.param([b"A #x\n#9999999999\nB\n"], [b"A #x", b"#9999999999", b"B"], id="block-too-long-is-none"),
        pytest.param([b"A #3x\nB\n"], [b"A #3x", b"B"], id="block-without-length"),
        pytest.param([b"x" * 50, b"y" * 60, b"z\nA\n"], [None, b"A"], id="overrun"),
        pytest.param([b"x" * 101 + b"\nA\n"], [None, b"A"], id="overrun-at-once"),
    ],
)
def test_a_stream_is_cut_into_messages(pieces: list[bytes], messages: list[bytes | None]):
    """Line feeds end messages, except inside a block; what is longer than the buffer is thrown away."""
    framer = Framer(limit=100)
    assert [message for piece in pieces for message in framer.feed(piece)] == messages


PIECES = st.one_of(
    st.binary(max_size=30),
    st.sampled_from([b"*RST", b";", b"SYST:ERR?", b"*IDN?", b" #", b'"', b"(@1", b",", b":", b"FREQ:STAR 3", b"#14"]),
)


@given(st.lists(PIECES, max_size=12).map(b"".join))
def test_no_bytes_kill_the_core(message: bytes):
    """Whatever comes, the instrument lives, an error stays in its queue, and the next query is answered."""
    instrument = Recorder()
    instrument.execute_at(message, 0.0)
    assert len(instrument.errors) <= 20
    instrument.execute_at(b"*CLS", 0.0)
    assert instrument.execute_at(b"*IDN?;:SYST:ERR?", 0.0)[0] == b'maker,model,1,0;+0,"No error"'


@given(st.lists(st.binary(max_size=40), max_size=8))
def test_no_stream_kills_the_framer(pieces: list[bytes]):
    """Whatever comes, it is cut or thrown away, never kept beyond the limit."""
    framer = Framer(limit=64)
    for piece in pieces:
        assert all(message is None or len(message) <= 64 for message in framer.feed(piece))
    assert framer.feed(b"\n" * 70 + b"*IDN?\n")[-1] == b"*IDN?"


@given(st.floats(0.0, 2.0))
def test_a_number_survives_its_way(value: float):
    """What a client writes with all digits is what the instrument takes."""
    assert AMPERES(repr(value)) == pytest.approx(value, rel=1e-15, abs=1e-300)
