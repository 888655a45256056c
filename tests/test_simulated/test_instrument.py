"""The instrument's side of the standards: headers, status, error queue, and the exchange of messages."""

from __future__ import annotations

import pytest

from batchtest.simulated.scpi import Exchange, ScpiError, ScpiInstrument, identity_line
from batchtest.simulated.scpi.instrument import written


class Sample(ScpiInstrument):
    """An instrument with optional nodes, a slow command and a refusing one."""

    def __init__(self) -> None:
        super().__init__("maker,model,1,0")
        self.volts = 0.0
        self.add("[SOURCE:]VOLTAGE[:LEVEL]", self.set_volts, float)
        self.add("[SOURCE:]VOLTAGE[:LEVEL]?", lambda: self.volts)
        self.add("SLOW", lambda: self.spend(1.5))
        self.add("REFUSE", self.refuse)

    def set_volts(self, volts: float) -> None:
        """Keep it."""
        self.volts = volts

    def refuse(self) -> None:
        """As a setting that conflicts does."""
        raise ScpiError(-221)


@pytest.fixture
def sample() -> Sample:
    """A fresh instrument."""
    return Sample()


def ask(instrument: ScpiInstrument, *messages: str) -> str:
    """Send messages at time zero; the last one's reply."""
    replies = [instrument.execute_at(message.encode(), 0.0)[0].decode() for message in messages]
    return replies[-1]


@pytest.mark.parametrize(
    "header", ["VOLT", "volt:lev", "SOUR:VOLT", "SOURCE:VOLTAGE:LEVEL", ":VOLTage", ":SOUR:VOLT:LEV"]
)
def test_optional_nodes_and_both_forms_name_the_same_command(sample: Sample, header: str):
    """Long, short, upper, lower, with and without what is optional."""
    assert ask(sample, f"{header} 2", "VOLT?") == "+2.00000000E+00"


@pytest.mark.parametrize(
    "header", ["VOLTA", "VOL", "VOLT:LEVE", "SOUR", "VOLT1", "LEV", "?", ":", "*", "*XYZ?", "*RST?", "VOLT::LEV"]
)
def test_any_other_header_is_undefined(sample: Sample, header: str):
    """Only the exact forms are legal."""
    assert ask(sample, f"{header}", "SYST:ERR?").startswith("-113,")


@pytest.mark.parametrize(
    ("message", "reply"),
    [
        pytest.param("SYST:ERR?;*ESE 4;VERS?", '+0,"No error";1999.0', id="common-leaves-the-path"),
        pytest.param("SYST:ERR:COUN?;NEXT?", '0;+0,"No error"', id="within-a-node"),
        pytest.param("SYST:VERS?;:SYST:ERR:COUN?", "1999.0;0", id="colon-to-the-root"),
        pytest.param("*IDN?;*STB?", "maker,model,1,0;16", id="message-available"),
        pytest.param("*OPC?;*TST?;*WAI;*SRE?", "1;0;0", id="common"),
    ],
)
def test_compound_messages(sample: Sample, message: str, reply: str):
    """The path holds inside a message, and common commands do not move it."""
    assert ask(sample, message) == reply


@pytest.mark.parametrize(
    ("message", "number"),
    [
        pytest.param("VOLT", -109, id="missing"),
        pytest.param("VOLT 1,2", -108, id="too-many"),
        pytest.param("*ESE 256", -222, id="beyond"),
        pytest.param("*OPT?;*IDN?", -440, id="after-indefinite-response"),
        pytest.param("REFUSE", -221, id="refused"),
    ],
)
def test_wrong_messages_queue_their_error(sample: Sample, message: str, number: int):
    """Each with the standard's number."""
    assert ask(sample, message, "SYST:ERR?").startswith(f"{number},")


def test_after_a_command_error_the_rest_of_the_message_is_dropped(sample: Sample):
    """What follows something not understood is not to be trusted."""
    ask(sample, "VOLT 1;FOO;VOLT 2")
    assert sample.volts == 1.0


def test_after_an_execution_error_the_rest_of_the_message_goes_on(sample: Sample):
    """A value refused is understood; so is what follows it."""
    ask(sample, "REFUSE;VOLT 2")
    assert sample.volts == 2.0


def test_a_full_error_queue_ends_with_overflow(sample: Sample):
    """The newest entry gives way to -350, the oldest stay."""
    ask(sample, *["FOO"] * 25)
    entries = [ask(sample, "SYST:ERR?") for _ in range(21)]
    assert [entry.split(",")[0] for entry in entries] == ["-113"] * 19 + ["-350", "+0"]


def test_the_event_register_is_cleared_by_reading(sample: Sample):
    """Power-on first, then what happened since."""
    assert ask(sample, "*ESR?") == "128"
    ask(sample, "FOO", "REFUSE", "*OPC")
    assert [ask(sample, "*ESR?") for _ in range(2)] == ["49", "0"]


def test_the_status_byte_sums_up(sample: Sample):
    """Error queue, event bit, master summary; and after *CLS nothing."""
    assert ask(sample, "*CLS;*ESE 32;*SRE 255", "FOO", "*STB?") == str(4 + 32 + 64)
    assert ask(sample, "*SRE?;*ESE?;*CLS;*STB?") == f"{255 - 64};32;80"
    assert ask(sample, "*STB?") == "0"


def test_condition_changes_are_latched_through_the_filters(sample: Sample):
    """Rising bits by default, falling ones where asked for; enabled events reach the status byte."""
    register = sample.status.questionable
    ask(sample, "STAT:QUES:ENAB #HFFFF;PTR 1;NTR 2")
    register.see(3)
    register.see(0)
    assert ask(sample, "STAT:QUES:COND?;ENAB?;PTR?;NTR?;*STB?") == "0;32767;1;2;24"
    assert ask(sample, "STAT:QUES?;:STAT:QUES:EVEN?") == "3;0"
    assert ask(sample, "STAT:PRES;:STAT:QUES:ENAB?;PTR?;NTR?") == "0;32767;0"


def test_operation_events_have_their_own_bit(sample: Sample):
    """Bit 7 of the status byte."""
    ask(sample, "STAT:OPER:ENAB 1")
    sample.status.operation.see(1)
    assert ask(sample, "*STB?") == "128"


def test_work_is_done_one_after_another_and_never_waited_for(sample: Sample):
    """A reply is ready when all that came before it is done."""
    assert sample.execute_at(b"SLOW", 10.0) == (b"", 11.5)
    assert sample.execute_at(b"SLOW;*OPC?", 10.1) == (b"1", 13.0)
    assert sample.execute_at(b"*OPC?", 20.0) == (b"1", 20.0)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        pytest.param(("a", "b,c", "d", "e"), "four plain fields", id="comma"),
        pytest.param(("a", "b", "c", "d;e"), "four plain fields", id="semicolon"),
        pytest.param(("a" * 70, "b", "c", "d"), "at most 72", id="too-long"),
    ],
)
def test_an_identity_that_breaks_the_answer_is_refused(fields: tuple[str, ...], message: str):
    """Four fields, no separators in them, at most 72 characters."""
    with pytest.raises(ValueError, match=message):
        identity_line(*fields)


def test_an_answer_that_is_none_of_the_known_kinds_is_our_fault():
    """A handler must give numbers, text, or several of them."""
    with pytest.raises(TypeError, match="no answer"):
        written(object())


def test_quotes_and_other_signs_in_a_detail_do_not_break_the_reply(sample: Sample):
    """A quote is doubled, what cannot be printed becomes a question mark."""
    sample.fail(101, 'a"b\x00')
    assert ask(sample, "SYST:ERR?") == '+101,"Device-specific error;a""b?"'


class TestExchange:
    """One client's turn-taking with an instrument."""

    def test_a_reply_is_read_once(self, sample: Sample):
        """Then the output queue is empty."""
        exchange = Exchange(sample)
        exchange.write(b"*OPC?", 0.0)
        assert (exchange.waiting, exchange.read(), exchange.waiting) == (True, (b"1", 0.0), False)

    def test_asking_for_nothing_is_unterminated(self, sample: Sample):
        """-420, and no reply."""
        exchange = Exchange(sample)
        exchange.write(b"VOLT 1", 0.0)
        assert exchange.read() is None
        assert ask(sample, "SYST:ERR?").startswith("-420,")

    def test_a_message_before_the_reply_was_read_interrupts(self, sample: Sample):
        """-410, and the old reply is gone."""
        exchange = Exchange(sample)
        exchange.write(b"*IDN?", 0.0)
        exchange.write(b"*OPC?", 0.0)
        assert exchange.read() == (b"1", 0.0)
        assert ask(sample, "SYST:ERR?").startswith("-410,")

    def test_a_message_beyond_the_buffer_is_an_overrun(self, sample: Sample):
        """-363, and nothing is carried out."""
        exchange = Exchange(sample)
        exchange.write(None, 0.0)
        assert ask(sample, "SYST:ERR?").startswith("-363,")
