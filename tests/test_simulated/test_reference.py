"""The message core against the outside values of tests/reference/06_scpi_488.toml, which names the clause of each."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from batchtest.simulated.scpi import ChannelList, Framer, ScpiError, ScpiInstrument, identity_line
from batchtest.simulated.scpi.errors import CLASS_BITS, class_of, text_of
from batchtest.simulated.scpi.message import units
from batchtest.simulated.scpi.mnemonics import short_form
from batchtest.simulated.scpi.numbers import parse_number, real
from batchtest.simulated.scpi.parameters import block
from batchtest.simulated.scpi.status import EVENT_BITS, STATUS_BITS

FILE = Path(__file__).resolve().parents[1] / "reference" / "06_scpi_488.toml"
CASES: dict[str, dict[str, Any]] = {case["id"]: case for case in tomllib.loads(FILE.read_text())["case"]}


def pairs(case: str, given: str, expected: str) -> list[Any]:
    """One parameter set for each sample of a case, with the sample as its name."""
    table = CASES[case]
    rows = zip(table["inputs"][given], table["expected"][expected], strict=True)
    return [pytest.param(one, other, id=ascii(one)) for one, other in rows]


def tokens_of(message: bytes) -> tuple[str | bytes, ...]:
    """The data elements of the only unit of a message."""
    return next(units(message)).tokens


class Recorder(ScpiInstrument):
    """An instrument with the tree of the standard's own examples; it keeps which commands were carried out."""

    def __init__(self) -> None:
        super().__init__("maker,model,1,0")
        self.done: list[str] = []
        for header in ("FREQUENCY:START", "FREQUENCY:STOP", "FREQUENCY:SLEW:AUTO", "POWER:START", "POWER:STOP"):
            short = ":".join(map(short_form, header.split(":")))
            self.add(header, lambda *_values, short=short: self.done.append(short), str, optional=1)
        self.add("BAND", lambda: self.done.append("BAND"))
        self.add("TEST:TREEA?", lambda: 10)
        self.add("TEST:TREEB?", lambda: 20)


def test_every_case_of_the_file_is_tested():
    """A case that joins the file must join the tests: its name stands in this file's source."""
    source = Path(__file__).read_text()
    assert [case for case in CASES if f'"{case}"' not in source] == []


@pytest.mark.parametrize(("word", "short"), pairs("short-form", "words", "short"))
def test_the_short_form_of_a_word(word: str, short: str):
    """Four letters, three where the fourth is a vowel."""
    assert short_form(word) == short


@pytest.mark.parametrize(("text", "form"), pairs("numeric-formats", "samples", "kind"))
def test_the_form_of_a_number(text: str, form: str):
    """NR1, NR2, NR3 and the three non-decimal forms are told apart."""
    assert parse_number(text).form == form


@pytest.mark.parametrize(("text", "value"), pairs("numeric-formats", "samples", "value"))
def test_the_value_of_a_number(text: str, value: float):
    """Every form is read to its value."""
    assert parse_number(text).value == pytest.approx(value, rel=CASES["numeric-formats"]["tolerance"]["rel"])


@pytest.mark.parametrize(("text", "meaning"), pairs("special-values", "samples", "meaning"))
def test_values_that_are_no_numbers_are_written_as_stand_ins(text: str, meaning: str):
    """Infinities and not-a-number leave the instrument as the standard's numbers."""
    value = {"INF": math.inf, "NINF": -math.inf, "NAN": math.nan}[meaning]
    assert float(real(value)) == float(text)


@pytest.mark.parametrize(("number", "text"), pairs("error-texts-a", "numbers", "texts"))
def test_the_standard_error_texts(number: int, text: str):
    """Every number has its text, letter by letter."""
    assert text_of(number) == text


@pytest.mark.parametrize(("number", "name"), pairs("error-classes", "numbers", "cls"))
def test_the_class_of_an_error(number: int, name: str):
    """The hundreds of a number say its class."""
    assert class_of(number) == name


@pytest.mark.parametrize(("number", "bit"), pairs("error-classes", "numbers", "esr_bit"))
def test_an_error_sets_the_bit_of_its_class(number: int, bit: int):
    """The class's bit stands in the event register, and no other error bit."""
    instrument = Recorder()
    instrument.fail(number)
    assert instrument.status.take_events() & 0b111100 == 1 << bit == 1 << CLASS_BITS[class_of(number)]


SAMPLES = [sample.replace("+0", "0") for sample in CASES["syst-err-format"]["inputs"]["samples"]]


@pytest.mark.parametrize(("index", "sample"), list(enumerate(SAMPLES)), ids=SAMPLES)
def test_the_answer_to_system_error(index: int, sample: str):
    """Number, comma, quoted text, and after a semicolon what the instrument adds; a leading + is allowed."""
    expected = {key: values[index] for key, values in CASES["syst-err-format"]["expected"].items()}
    instrument = Recorder()
    if expected["number"]:
        instrument.fail(expected["number"], expected["detail"])
    reply, _ = instrument.execute_at(b"SYST:ERR?", 0.0)
    assert reply.decode().replace("+0", "0") == sample


@pytest.mark.parametrize("case", ["esr-bits", "stb-bits"])
def test_the_bits_of_the_registers(case: str):
    """Every bit has the standard's place; a weight is its power of two."""
    ours = {"esr-bits": EVENT_BITS, "stb-bits": STATUS_BITS}[case]
    rows = zip(CASES[case]["inputs"]["bits"], CASES[case]["expected"]["name"], strict=True)
    assert ours == {name: 1 << bit for bit, name in rows}
    assert CASES[case]["expected"].get("weight", list(ours.values())) == list(ours.values())


@pytest.mark.parametrize(("line", "valid"), pairs("idn", "samples", "valid"))
def test_an_identity_has_four_fields(line: str, valid: bool):
    """What has not four fields cannot become an identity."""
    if valid:
        assert identity_line(*line.split(",")) == line
    else:
        with pytest.raises(ValueError, match="four plain fields"):
            identity_line(*line.split(","))


@pytest.mark.parametrize(("message", "commands"), pairs("header-path-a", "messages", "commands"))
def test_headers_after_a_semicolon_start_where_the_last_one_stood(message: str, commands: list[str]):
    """The path of the last header holds until a colon or the end of the message."""
    instrument = Recorder()
    instrument.execute_at(message.encode(), 0.0)
    reply, _ = instrument.execute_at(b"SYST:ERR?", 0.0)
    errors = [] if reply.startswith(b"+0") else [f"ERROR {reply.decode().split(',', maxsplit=1)[0]}"]
    assert instrument.done + errors == commands


@pytest.mark.parametrize(("message", "response"), pairs("compound-queries", "messages", "responses"))
def test_answers_of_one_message_are_joined(message: str, response: str):
    """Several queries, one reply."""
    reply, _ = Recorder().execute_at(message.encode(), 0.0)
    assert reply.decode() == response.replace("<idn>", "maker,model,1,0")


@pytest.mark.parametrize(("sample", "payload"), pairs("block-definite", "samples", "payload"))
def test_blocks(sample: str, payload: str):
    """A block is its announced number of bytes, or all up to the end; a cut one is -161."""
    message = b"DATA " + sample.encode()
    if payload.startswith("ERROR"):
        with pytest.raises(ScpiError, match="-161"):
            tokens_of(message)
    else:
        assert block(tokens_of(message)[0]) == payload.encode()
        assert Framer().feed(message.removesuffix(b"\n") + b"\n") == [message.removesuffix(b"\n")]


@pytest.mark.parametrize(("sample", "channels"), pairs("channel-list-a", "samples", "channels"))
def test_channel_lists(sample: str, channels: list[int] | str):
    """Single channels and ranges, in the order written; an expression without @ is none."""
    if isinstance(channels, str):
        with pytest.raises(ScpiError, match=channels.removeprefix("ERROR ")):
            ChannelList()(sample)
    else:
        assert list(ChannelList()(sample)) == channels


@pytest.mark.parametrize(("text", "value"), pairs("suffix-a", "samples", "value"))
def test_suffix_multipliers(text: str, value: float):
    """M is milli but for OHM and HZ."""
    assert parse_number(text).value == pytest.approx(value, rel=CASES["suffix-a"]["tolerance"]["rel"])


@pytest.mark.parametrize(("text", "unit"), pairs("suffix-a", "samples", "unit"))
def test_suffix_units(text: str, unit: str):
    """What is left of a suffix without its multiplier is the unit."""
    assert parse_number(text).unit == unit
