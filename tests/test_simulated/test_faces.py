"""Faces: what each style understands, refuses and answers on the wire, by how such instruments are documented."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable
from typing import Any

import pytest

from batchtest.errors import SetupError
from batchtest.files.bench_faults import BenchFault
from batchtest.nouns import Role
from batchtest.simulated.faces import FACES, Face, ending_of, face_of
from batchtest.simulated.faces.frames import FrameLoad
from batchtest.simulated.mishaps import Mishap
from test_simulated.desk import Desk


class Spoken:
    """A face on a desk: what is sent to it, and what comes back."""

    def __init__(self, style: str) -> None:
        self.desk = Desk()
        self.face: Any = face_of(style, self.desk.by_role[Role(style.partition("-")[0])])
        self.now = 1.0

    def __call__(self, message: str) -> str:
        return self.bytes(message.encode("ascii")).decode("ascii")

    def bytes(self, message: bytes) -> bytes:
        """The reply to one message; each is waited for."""
        reply, self.now = self.face.execute_at(message, self.now)
        return bytes(reply)

    def errors(self) -> list[str]:
        """What is in the queue of the instrument behind the face."""
        return self.desk.errors(self.face.role)


def test_a_style_that_no_simulated_instrument_speaks_is_refused() -> None:
    """The nearest of the role is named; another role's style is none."""
    core = Desk().by_role[Role.LOAD]
    with pytest.raises(SetupError, match="load: no simulated instrument speaks 'load-mods'; did you mean 'load-modes'"):
        face_of("load-mods", core)
    with pytest.raises(SetupError, match="no simulated instrument speaks 'meter-rate'"):
        face_of("meter-rate", core)


def test_endings_are_those_of_the_style() -> None:
    """Between them the styles end messages in all four ways."""
    assert {ending_of(style) for style in FACES} == {"LF", "CR", "CRLF", "none"}
    assert ending_of("meter-confread") == "LF"


@pytest.mark.parametrize("style", sorted(set(FACES) - {"load-frames"}))
def test_what_is_not_understood_is_told(style: str) -> None:
    """By the error queue, or by a word in place of "OK"; nothing is guessed."""
    said = Spoken(style)
    reply = said("SOUR:NONSENSE 1")
    assert reply.strip() == "ERR" if said.face.echo else said.errors()[0].startswith("-113")


@pytest.mark.parametrize("style", sorted(set(FACES) - {"load-frames"}))
def test_everyone_says_who_it_is(style: str) -> None:
    """Four fields, whatever the style."""
    assert Spoken(style)("*IDN?").strip().count(",") == 3


def test_a_meter_at_its_front_panel_is_not_set() -> None:
    """A setting before `:SYST:REM` is refused; headers want their colon; the function comes back quoted."""
    said = Spoken("meter-sensfunc")
    said(':SENS:FUNC "RES"')
    assert "front panel" in said.errors()[0]
    said(":SYST:REM")
    said(':SENS:FUNC "RES"')
    said('SENS:FUNC "VOLT:DC"')
    assert len(said.errors()) == 1
    assert said(":SENS:FUNC?") == '"RES"'


@pytest.mark.parametrize(
    ("style", "settings", "query", "over"),
    [
        pytest.param(
            "meter-sensfunc", [":SYST:REM", ':SENS:FUNC "RES"', ":SAMP:COUN 2"], ":INIT;:FETC?", ",", id="empty"
        ),
        pytest.param("meter-rate", ["FUNC OHM", "RANGE 2", "RATE M"], "VAL?", "OL", id="words"),
        pytest.param("meter-resolution", ["CONF:RES 1000,0.003", "SAMP:COUN 2"], "MEAS?", "-1;-1", id="minus-one"),
    ],
)
def test_an_open_input_is_over_range_in_each_styles_own_way(
    style: str, settings: list[str], query: str, over: str
) -> None:
    """With no relay closed there is nothing that a test current could flow through."""
    said = Spoken(style)
    for setting in settings:
        said(setting)
    assert said(query).strip() == over


def test_readings_come_as_the_style_writes_them() -> None:
    """A unit behind the number after a blank line, or a decimal comma and semicolons."""
    said = Spoken("meter-rate")
    said.desk.close(140)
    for setting in ("FUNC DCV", "RANGE 3", "RATE M"):
        assert said(setting).strip() == "OK"
    said.now += 1
    assert re.fullmatch(r"\r\+(5\.00|4\.99)[0-9]{5}E\+00 VDC", said("VAL?"))
    said = Spoken("meter-resolution")
    said.desk.close(140)
    said("CONF:VOLT:DC 10,0.00003")
    said("SAMP:COUN 2")
    said.now += 1
    one = r"\+(5,00|4,99)[0-9]{5}E\+00"
    assert re.fullmatch(f"{one};{one}", said("MEAS?"))


def test_a_blank_after_the_comma_is_refused_where_the_style_has_none() -> None:
    """Some parsers take no blank there."""
    said = Spoken("meter-resolution")
    said("CONF:VOLT:DC 10, 0.00003")
    assert said.errors()[0].startswith("-113")


@pytest.mark.parametrize(
    ("style", "choose", "query"),
    [("load-modes", "CHAN 2", "LOAD?"), ("supply-named", "INST P35V", "OUTP:STAT?")],
    ids=["load", "supply"],
)
def test_what_comes_too_soon_after_a_selection_is_lost(style: str, choose: str, query: str) -> None:
    """No reply and no error: only the pause helps."""
    said = Spoken(style)
    said(choose)
    assert said(query) == ""
    said.now += 0.2
    assert said(query) in ("OFF", "0")
    assert said.errors() == []


def test_an_output_that_was_not_chosen_is_not_switched() -> None:
    """The first output is chosen at first, and nothing is wired to it."""
    said = Spoken("supply-named")
    said("OUTP:STAT 1")
    assert "nothing is wired to P6V" in said.errors()[0]
    assert not said.desk.instruments.supply.output_on


def test_a_mode_has_its_range() -> None:
    """A level beyond the mode's range is refused; another mode switches the input off."""
    said = Spoken("load-modes")
    for message in ("MODE CCL", "CURR:STAT:L1 0.06"):
        said(message)
    assert said.errors()[0].startswith("-222")
    for message in ("MODE CCH", "CURR:STAT:L1 0.06", "LOAD ON"):
        said(message)
    assert (said("CURR:STAT:L1?"), said("LOAD?"), said("MODE?")) == ("0.06000A", "ON", "CCH")
    said("MODE CV")
    assert (said("LOAD?"), said("MODE?")) == ("OFF", "CV")


def test_slew_rates_count_in_amperes_per_microsecond_or_millisecond() -> None:
    """The same 100 kA/s is 0.1 A/us for one style and 100 A/ms for another."""
    said = Spoken("load-modes")
    said("CURR:STAT:RISE 0.1")
    assert (said("CURR:STAT:RISE?"), said.desk.rack.loads[1].rising_A_s) == ("0.1A/us", pytest.approx(1e5))
    said = Spoken("load-integers")
    said("RAMP2:M 50")
    assert (said("RAMP2:M?"), said.desk.rack.loads[2].rising_A_s) == ("00050", pytest.approx(5e4))


def test_whole_numbers_and_shut_inputs() -> None:
    """Tenths of mA; 1 is shut; a range may cut the limit."""
    said = Spoken("load-integers")
    assert (said("SET2:A 500"), said("SET2:A?")) == ("OK", "00500")
    assert said.desk.rack.loads[2].set_A == pytest.approx(0.05)
    assert (said("SHUT2 0"), said("SHUT2?"), said.desk.rack.loads[2].on) == ("OK", "0", True)
    assert (said("SHUT2 1"), said("SHUT2?"), said.desk.rack.loads[2].on) == ("OK", "1", False)
    said("LIM2:I 1000")
    said("RANG2 LOW")
    assert said("LIM2:I?") == "00500"
    assert said("SET2:A 99999999") == "ERR"


@pytest.mark.parametrize(
    ("trip", "styles"),
    [
        ("current", {"load-modes": ("FETC:STAT?", "1"), "load-integers": ("MEAS1?", "1,0,")}),
        ("under-voltage", {"load-modes": ("FETC:STAT?", "64"), "load-integers": ("MEAS1?", "64,0,")}),
        ("time", {"load-modes": ("FETC:EVEN?", "128"), "load-integers": ("MEAS1?", "128,0,")}),
    ],
)
def test_the_status_word_tells_what_has_tripped(trip: str, styles: dict[str, tuple[str, str]]) -> None:
    """Each by the bits of its layout."""
    for style, (query, word) in styles.items():
        said = Spoken(style)
        said.desk.rack.loads[1].tripped = trip
        assert said(query).startswith(word)


def test_an_event_is_told_once() -> None:
    """Reading clears it; the condition is another query's."""
    said = Spoken("load-modes")
    said.desk.rack.loads[1].tripped = "power"
    said("LOAD?")
    said.desk.rack.loads[1].tripped = ""
    assert (said("FETC:EVEN?"), said("FETC:EVEN?"), said("FETC:STAT?")) == ("4", "0", "0")


@pytest.mark.parametrize(
    ("style", "query", "words"),
    [
        ("supply-named", "STAT:QUES:INST:COND?", {"": "0", "voltage": "512", "current": "1024", "silence": "2048"}),
        ("supply-setout", "STATUS1?", {"": "OFF,0", "voltage": "OFF,1", "current": "OFF,2"}),
        ("supply-text", "FAULT?", {"": "NONE", "voltage": "OVP", "current": "OCP"}),
    ],
)
def test_a_supply_tells_its_trips(style: str, query: str, words: dict[str, str]) -> None:
    """By number or by word."""
    for trip, word in words.items():
        said = Spoken(style)
        if style == "supply-named":
            said("INST P35V")
            said.now += 0.2
        state = said.desk.rack.supply
        state.tripped, state.trip = bool(trip), trip or "voltage"  # type: ignore[assignment]
        assert said(query) == word


def test_fixed_decimals_are_wanted() -> None:
    """Two decimals for volts; anything else is not understood."""
    said = Spoken("supply-setout")
    assert (said("VSET1:24"), said("VSET1:24.00"), said("VSET1?")) == ("ERR", "OK", "24.00")


def test_relays_are_told_as_a_plain_list_or_as_flags() -> None:
    """A lone comma stands for none; a range answers with a flag for each."""
    said = Spoken("scanner-words")
    assert (said("CLOSED?"), said("CLOSE 102"), said("CLOSED?"), said("OPEN")) == (",", "OK", "102", "OK")
    said = Spoken("scanner-slots")
    said(":ROUT:CLOS (@1!02)")
    assert said(":ROUT:CLOS:STAT? (@1!01:1!04)") == "0,1,0,0"


def framed(address: int, command: int, data: bytes = b"") -> bytes:
    """A frame, written out here once more."""
    body = bytes([0xAA, address, command]) + data + bytes(22 - len(data))
    return body + bytes([sum(body) % 256])


def test_frames_are_cut_wherever_the_stream_is() -> None:
    """What stands before a start byte is thrown away; a frame may come in pieces."""
    said = Spoken("load-frames")
    cutter = said.face.framer()
    one, two = framed(1, 0x11), framed(2, 0x19)
    assert cutter.feed(b"*IDN?\n" + one[:10]) == []
    assert cutter.feed(one[10:] + two) == [one, two]
    assert isinstance(said.face, FrameLoad)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        pytest.param(lambda frame: frame[:-1] + bytes([frame[-1] ^ 1]), 0x90, id="checksum"),
        pytest.param(lambda frame: framed(9, 0x18, b"\x01"), 0xA0, id="address"),
        pytest.param(lambda frame: framed(1, 0x77), 0xC0, id="command"),
        pytest.param(lambda frame: framed(1, 0x18, b"\xff\xff\xff\xff"), 0xA0, id="value"),
        pytest.param(lambda frame: frame, 0x00, id="right"),
    ],
)
def test_a_frame_is_answered_with_a_code(change: Callable[[bytes], bytes], code: int) -> None:
    """Every wrong frame changes nothing."""
    said = Spoken("load-frames")
    assert said.bytes(framed(1, 0x18, struct.pack("<I", 500)))[3] == 0xB0  # nobody has taken it from its front panel
    assert said.bytes(framed(0, 0x02, b"\x01"))[2:4] == b"\x06\x00"
    assert said.bytes(change(framed(1, 0x18, struct.pack("<I", 500))))[2:4] == bytes([0x06, code])
    held = struct.unpack_from("<I", said.bytes(framed(1, 0x19)), 3)[0]
    assert held == (500 if code == 0 else 0)


def test_one_frame_has_all_that_a_channel_sees() -> None:
    """MV, tenths of mA, mW, on, status."""
    said = Spoken("load-frames")
    said.desk.place()
    said.desk.power()
    said.now = said.desk.now
    said.bytes(framed(0, 0x02, b"\x01"))
    said.bytes(framed(2, 0x18, struct.pack("<I", 100)))
    said.bytes(framed(2, 0x10, b"\x01"))
    said.now += 1
    volts, amperes, watts, on, word = struct.unpack_from("<IIIBH", said.bytes(framed(2, 0x30)), 3)
    assert (on, word) == (1, 0)
    assert amperes == pytest.approx(100, abs=12)
    assert watts == pytest.approx(volts * amperes / 10000, abs=1)


def test_every_phrase_says_what_it_does() -> None:
    """A style's phrases are found by their pattern, none of them twice."""
    for face in FACES.values():
        assert issubclass(face, Face)
        patterns = [pattern.pattern for pattern, _ in face._phrases]
        assert len(set(patterns)) == len(patterns)


#: Style -> a query that the instrument behind its face answers.
ASKED = {
    "meter-sensfunc": ":SENS:FUNC?",
    "meter-rate": "FUNC?",
    "meter-resolution": "VOLT:DC:RANG?",
    "load-modes": "LOAD?",
    "load-integers": "SHUT1?",
    "supply-named": "OUTP:STAT?",
    "supply-setout": "OUT?",
    "supply-text": "OUTP1?",
    "scanner-words": "CLOSED?",
    "scanner-slots": ":ROUT:CLOS:STAT? (@1!01:1!03)",
}


def befallen(style: str, kind: str, message: str = "*", **keys: Any) -> Spoken:
    """A face that is ready to be asked, and whose instrument has a fault at the next message that matches."""
    said = Spoken(style)
    if style == "supply-named":
        said("INST P35V")
        said.now += 1.0
    told = {"role": said.face.role, "kind": kind, "message": message, "at": 1, **keys}
    said.face.faults.add(BenchFault.model_validate(told))
    return said


def test_every_face_is_asked_something() -> None:
    """But for frames, which are no text."""
    assert {*ASKED, "load-frames"} == set(FACES)


@pytest.mark.parametrize("style", sorted(ASKED))
def test_a_fault_behind_a_face_befalls_its_reply(style: str) -> None:
    """Faults are the instrument's; a face has none of its own."""
    said = befallen(style, "late reply", lasts="3 s")
    assert said(ASKED[style]).strip()
    assert list(said.face.faults.mishaps) == [Mishap(late_s=3.0)]


@pytest.mark.parametrize("style", sorted(ASKED))
def test_a_face_has_no_answer_where_the_instrument_behind_has_none(style: str) -> None:
    """It invents nothing: it is silent, or says the word that is no answer."""
    said = befallen(style, "ignored command")
    assert said(ASKED[style]).strip() in ("", "OK")


def test_a_frame_has_no_answer_where_the_instrument_behind_has_none() -> None:
    """No frame comes."""
    said = befallen("load-frames", "ignored command")
    assert said.bytes(framed(1, 0x11)) == b""


@pytest.mark.parametrize("text", ["9.9E37", "OL", "nan", ""])
def test_over_range_behind_a_face_is_never_a_number_of_a_load(text: str) -> None:
    """What a display cannot show is not answered."""
    said = befallen("load-integers", "over-range", "MEAS:VOLT?*", text=text)
    assert said("MEAS1?") == "OK"


def test_a_restart_takes_what_the_face_had_learnt() -> None:
    """It must be made remote again, and its function is what the instrument begins with."""
    said = befallen("meter-sensfunc", "silent restart", lasts="1 s")
    for message in (":SYST:REM", ':SENS:FUNC "RES"', ':SENS:FUNC "DIOD"'):
        said(message)
    assert said(":SENS:FUNC?") == '"VOLT:DC"'
    assert said.errors()[0].startswith("-221")


@pytest.mark.parametrize(
    ("style", "asked", "reply"),
    [
        ("meter-sensfunc", ":SENS:FUNC?;:SENS:RES:RANG?;:SYST:ERR?", '"RES";1.0000000E+03;+0,"No error"'),
        ("meter-rate", "FUNC?", "\rOHM"),
        ("meter-rate", "RANGE?", "\r2"),
        ("meter-resolution", "RES:RANG?", "1,0000000E+03"),
    ],
)
def test_a_key_that_was_pressed_shows_through_the_face(style: str, asked: str, reply: str) -> None:
    """What is read back is what the instrument truly is set to."""
    said = befallen(style, "front-panel key", text="CONF:RES 1000")
    said("*OPC?")
    assert said(asked) == reply
