"""The link: every answer belongs to its question, every wait ends, and what cannot be trusted is said."""

from __future__ import annotations

import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from batchtest.bench.replies import parse_number
from batchtest.errors import (
    BenchError,
    InstrumentLost,
    InstrumentRefused,
    InstrumentReplyError,
    InstrumentTimeout,
)
from test_bench.links import Linked, linked
from test_bench.scripted import ScriptedInstrument, Step


def counter() -> ScriptedInstrument:
    """An instrument that answers each `VAL? n` with n."""
    return ScriptedInstrument(answer=lambda unit: unit.partition(" ")[2] if unit.startswith("VAL?") else None)


def next_answer_is_right(on: Linked) -> bool:
    """Whether the next question gets its own answer; a busy machine is given time for it."""
    on.link._reply_s = 2.0
    return on.link.query("VAL? 4711") == "4711"


def next_answer_is_right_in_haste(on: Linked) -> bool:
    """The same where the deadline must pass for it."""
    return on.link.query("VAL? 4711") == "4711"


def test_a_query_has_a_question_mark_and_a_command_has_none() -> None:
    """A command asked would wait for ever, a query written would leave its answer for another."""
    with linked(counter()) as on:
        with pytest.raises(ValueError, match="'CURR 1' asks nothing and would wait for ever; use write"):
            on.link.query("CURR 1")
        with pytest.raises(ValueError, match="has a reply that nobody would read; use query"):
            on.link.write("CURR?")
        assert on.instrument.heard == []


def test_messages_are_traced_with_their_replies_and_expected_time() -> None:
    """A benchmark can replay what was said."""
    traced: list[tuple[Any, ...]] = []
    with linked(counter(), trace=lambda *message: traced.append(message)) as on:
        on.link.write("CURR 1")
        on.link.query("VAL? 7", 0.5)
        on.link.send_now("OUTP OFF")
    assert traced == [
        ("meter", "write", "CURR 1", "", 0.0),
        ("meter", "query", "VAL? 7", "7", 0.5),
        ("meter", "write", "OUTP OFF", "", 0.0),
    ]


@pytest.mark.parametrize(
    ("steps", "kind", "message"),
    [
        pytest.param([0.3, b"1\n"], InstrumentTimeout, "nothing received", id="late"),
        pytest.param([], InstrumentTimeout, "nothing received; check power and lead", id="never"),
        pytest.param([b"1.234"], InstrumentTimeout, r"received so far: b'1.234'.*read_ending", id="no-ending"),
        pytest.param([b"1.2", None], InstrumentLost, r"connection lost at 'VAL\? 1'.*b'1.2'", id="cut-and-closed"),
        pytest.param([None], InstrumentLost, "connection lost", id="closed"),
        pytest.param([b"1", 0.15, b"2", 0.15, b"3", 0.15, b"4\n"], InstrumentTimeout, "b'12", id="drip"),
        pytest.param([b"1\xe9\n"], InstrumentReplyError, "is not ASCII", id="not-ascii"),
    ],
)
def test_a_bad_reply_is_an_error_and_never_the_next_answer(
    steps: list[Step], kind: type[BenchError], message: str
) -> None:
    """Whatever came or did not come, the next question gets its own answer."""
    with linked(counter(), reply_s=0.2) as on:
        on.instrument.misbehave("VAL? 1", *steps)
        with pytest.raises(kind, match=message):
            on.link.query("VAL? 1")
        assert on.link.dirty
        assert next_answer_is_right(on)
        assert on.link.recoveries == 1


def test_a_numeric_late_reply_is_not_taken_for_the_mark() -> None:
    """One stale number cannot fake the two random ones."""
    with linked(counter(), reply_s=0.2) as on:
        on.instrument.misbehave("VAL? 1", 0.3, b"17;42\n8\n9\n")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right(on)
        assert on.server.connections == 1


def test_resynchronising_keeps_the_connection_and_clears_the_mask() -> None:
    """The link is brought back into step without being opened anew, and `*ESE` is left as it is after power-on."""
    with linked(counter(), reply_s=0.1) as on:
        on.instrument.misbehave("VAL? 1", b"1.23")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right(on)
        assert on.link.query("*ESE?") == "0"
        assert on.server.connections == 1


def test_an_instrument_that_cannot_be_resynchronised_is_opened_anew() -> None:
    """Where the mark does not come the connection is made anew, and the instrument must be the same."""
    with linked(counter(), reply_s=0.15) as on:
        on.instrument.misbehave("VAL? 1")
        on.instrument.misbehave("*ESE")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right_in_haste(on)
        assert on.server.connections == 2


def test_another_instrument_behind_the_same_address_is_a_lost_one() -> None:
    """After opening anew the identity must match, serial and all."""
    with linked(counter(), reply_s=0.05) as on:
        on.instrument.misbehave("VAL? 1", None)
        with pytest.raises(InstrumentLost):
            on.link.query("VAL? 1")
        on.instrument.identity = "Glasshouse Bench Works,scripted,S-2,1.0"
        for _ in range(2):
            with pytest.raises(InstrumentLost, match=r"opened anew, it is '.*S-2.*' and no longer '.*S-1"):
                on.link.query("VAL? 2")
        assert "VAL? 2" not in on.instrument.heard


def test_an_instrument_that_is_gone_stays_lost_until_it_is_back() -> None:
    """A dead instrument is told as lost each time, quickly; back again it works."""
    with linked(counter(), reply_s=0.05) as on:
        on.server.stop()
        for _ in range(2):
            with pytest.raises(InstrumentLost, match=r"check power and lead|cannot be reached anew"):
                on.link.query("VAL? 1")


def test_endless_answers_do_not_hold_up_resynchronising() -> None:
    """An instrument that talks without end is opened anew at the deadline."""
    with linked(counter(), reply_s=0.15) as on:
        on.instrument.misbehave("VAL? 1")
        on.instrument.misbehave("*ESE", *[step for _ in range(200) for step in (b"1\n" * 20, 0.002)])
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right_in_haste(on)
        assert on.server.connections == 2


def test_unasked_bytes_are_not_taken_for_an_answer() -> None:
    """A second line that nobody asked for makes the link dirty, not the next answer wrong."""
    with linked(counter()) as on:
        on.instrument.misbehave("VAL? 1", b"1\n2\n")
        assert on.link.query("VAL? 1") == "1"
        with pytest.raises(InstrumentReplyError, match=r"sent b'2\\n' before 'VAL\? 3' was asked"):
            on.link.query("VAL? 3")
        assert next_answer_is_right(on)


def test_blank_lines_after_a_reply_do_no_harm() -> None:
    """Some instruments end with LF CR, or with an empty line: that answers nothing."""
    with linked(counter()) as on:
        on.instrument.ending = b"\n\r\n"
        assert [on.link.query(f"VAL? {n}") for n in range(20)] == [str(n) for n in range(20)]


def test_a_reply_that_does_not_parse_leaves_the_link_dirty() -> None:
    """An answer of the wrong kind may be another question's."""
    with linked(counter()) as on:
        with pytest.raises(InstrumentReplyError, match=r"meter: 'VAL\? ON': 'ON' is not a number"):
            on.link.ask("VAL? ON", parse_number)
        assert on.link.dirty
        assert next_answer_is_right(on)


def test_a_long_measurement_has_its_own_deadline() -> None:
    """The deadline is what the measurement should take and the reply time on top, in real seconds."""
    with linked(counter(), reply_s=0.05) as on:
        on.instrument.misbehave("VAL? 1", 0.12, b"1\n")
        assert on.link.query("VAL? 1", expected_s=0.2) == "1"


@contextmanager
def interrupted_after(seconds: float) -> Iterator[None]:
    """A Ctrl-C that comes while the block runs."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGALRM, interrupt)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def test_ctrl_c_in_a_query_ends_it_and_the_next_answer_is_right() -> None:
    """An interrupt does not wait for the reply, and the reply that comes later answers nothing else."""
    with linked(counter(), reply_s=1.0) as on:
        on.instrument.misbehave("VAL? 1", 0.4, b"1\n")
        began = time.monotonic()
        with pytest.raises(KeyboardInterrupt), interrupted_after(0.05):
            on.link.query("VAL? 1")
        assert time.monotonic() - began < 0.35
        assert next_answer_is_right(on)


def test_a_command_cut_short_is_not_repeated() -> None:
    """After an error the bench sends only what it is asked for next."""
    with linked(counter(), reply_s=0.05) as on:
        on.instrument.misbehave("VAL? 1")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right(on)
        assert on.instrument.heard.count("VAL? 1") == 1


def test_settings_wait_until_done_and_empty_the_error_queue() -> None:
    """After each group of settings `*OPC?`, then the error queue, until it has no error."""
    with linked(counter()) as on:
        on.link.set("CURR 1", "VOLT 2")
        assert on.instrument.heard == ["CURR 1", "VOLT 2", "*OPC?", "SYST:ERR?"]


def test_done_and_no_error_are_one_question_where_queries_join() -> None:
    """One round trip after settings; an error that came in it is told with those after it."""
    with linked(counter(), joins=True) as on:
        on.link.set("CURR 1")
        assert on.instrument.heard == ["CURR 1", "*OPC?;:SYST:ERR?"]
        on.instrument.errors += ['-222,"Data out of range;CURR 99"', '-113,"Undefined header"']
        with pytest.raises(InstrumentRefused, match=r"refused 'CURR 99': -222,.*; -113"):
            on.link.set("CURR 99")


def test_an_error_in_the_queue_names_the_command_sent() -> None:
    """Each error is told with the commands that were sent, and the queue is empty afterwards."""
    with linked(counter()) as on:
        on.instrument.errors += ['-222,"Data out of range;CURR 99"', '-113,"Undefined header"']
        with pytest.raises(InstrumentRefused, match=r"refused 'CURR 99': -222,.*; -113"):
            on.link.set("CURR 99")
        on.link.set("CURR 1")


@pytest.mark.parametrize("reply", ['0,"No error"', '+0,"No error"', "0", "+0", '00,"ok; fine"'])
def test_an_empty_queue_is_known_however_it_is_written(reply: str) -> None:
    """The number decides, with its sign or without."""
    scripted = counter()
    scripted.misbehave("SYST:ERR?", reply.encode() + b"\n")
    with linked(scripted) as on:
        on.link.set("CURR 1")


def test_an_endless_error_queue_ends() -> None:
    """An instrument that reports errors for ever is refused after as many as its dialect allows."""
    scripted = counter()
    scripted.errors = ['-350,"Queue overflow"'] * 50
    with linked(scripted, errors={"drain": 5}) as on, pytest.raises(InstrumentRefused, match="Queue overflow"):
        on.link.set("CURR 1")
    assert len(scripted.errors) == 45


@pytest.mark.parametrize(
    ("asked", "steps", "message"),
    [
        pytest.param("*OPC?", [b"0\n"], "is not the '1' that says done", id="not-done"),
        pytest.param("SYST:ERR?", [b"\n"], "was answered with nothing", id="empty-queue-reply"),
    ],
)
def test_settings_are_not_done_on_a_wrong_word(asked: str, steps: list[Step], message: str) -> None:
    """Only a 1 says done, and only a number says no error."""
    scripted = counter()
    scripted.misbehave(asked, *steps)
    with linked(scripted) as on, pytest.raises(InstrumentReplyError, match=message):
        on.link.set("CURR 1")


def test_an_instrument_without_opc_is_not_asked() -> None:
    """A dialect can say that `*OPC?` is not known or not to be trusted."""
    with linked(counter(), complete="") as on:
        on.link.set("CURR 1")
        assert "*OPC?" not in on.instrument.heard


def test_an_instrument_that_answers_each_command_is_listened_to() -> None:
    """An acknowledgement is read, so that it answers no question; another word is an error."""
    scripted = ScriptedInstrument(answer=lambda unit: "OK" if unit == "CURR 1" else "ERR" if unit == "CURR 9" else "5")
    with linked(scripted, replies={"acknowledge": "OK"}) as on:
        on.link.write("CURR 1")
        assert on.link.query("VAL?") == "5"
        with pytest.raises(InstrumentReplyError, match="was answered with 'ERR', not with 'OK'"):
            on.link.write("CURR 9")


def test_a_gap_is_left_between_messages() -> None:
    """A slow parser is given the time that the bench file says."""
    with linked(counter(), gap_s=0.02) as on:
        began = time.monotonic()
        for _ in range(4):
            on.link.write("CURR 1")
        assert time.monotonic() - began >= 0.06


def test_two_threads_get_their_own_answers() -> None:
    """One lock lies round write and read."""
    with linked(counter(), reply_s=2.0) as on:
        wrong: list[str] = []

        def ask(name: int) -> None:
            for number in range(100):
                if on.link.query(f"VAL? {name}{number}") != f"{name}{number}":
                    wrong.append(f"{name}{number}")

        threads = [threading.Thread(target=ask, args=(name,)) for name in (1, 2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert wrong == []


def test_off_goes_out_at_once_on_a_dirty_link() -> None:
    """Switching off waits for no late reply; the link stays dirty until it is read back."""
    with linked(counter(), reply_s=0.05) as on:
        on.instrument.misbehave("VAL? 1", 0.3, b"1\n")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        began = time.monotonic()
        on.link.send_now("OUTP OFF")
        assert time.monotonic() - began < 0.15
        assert on.link.dirty


def test_off_is_heard_after_a_message_that_was_cut() -> None:
    """A line begun by a cut message is ended first, so that "off" is a message of its own."""
    with linked(counter(), reply_s=0.1) as on:
        on.port._deadline(0.1).write_raw(b"CURR")
        on.link._dirty = True
        on.link.send_now("OUTP OFF")
        assert next_answer_is_right(on)
        assert "OUTP OFF" in on.instrument.heard


def test_off_on_a_dead_link_is_an_error_and_leaves_it_dirty() -> None:
    """What could not be sent is not taken for sent."""
    with linked(counter(), reply_s=0.05) as on:
        on.link.close()
        with pytest.raises(InstrumentLost, match="the connection is closed"):
            on.link.send_now("OUTP OFF")
        assert on.link.dirty


def test_off_to_an_instrument_that_answers_commands_leaves_its_answer_to_be_dropped() -> None:
    """The acknowledgement of "off" is not waited for, and answers nothing later."""
    scripted = ScriptedInstrument(answer=lambda unit: "5" if unit.endswith("?") else "OK")
    with linked(scripted, replies={"acknowledge": "OK"}) as on:
        on.link.send_now("OUTP OFF")
        assert on.link.query("VAL?") == "5"


def _mischief(chance: random.Random, right: bytes) -> list[Step]:
    """One way in which the right reply goes wrong."""
    ways: list[Callable[[], list[Step]]] = [
        lambda: [chance.uniform(0.001, 0.012), right + b"\n"],
        lambda: [right],
        lambda: [right[:1], chance.uniform(0.004, 0.012), right[1:] + b"\n"],
        lambda: [right[:2], None],
        lambda: [None],
        lambda: [],
        lambda: [right + b"\n" + right + b"\n"],
        lambda: [chance.uniform(0.004, 0.012), right + b"\n17\n" + right + b";" + right + b"\n"],
    ]
    return chance.choice(ways)()


def test_no_wrong_answer_in_200_random_mishaps() -> None:
    """Late, cut, split, doubled and dropped replies make errors, never another question's answer."""
    chance, asked, wrong, errors = random.Random(5), 1000, [], 0
    with linked(counter(), reply_s=0.006) as on:
        for _ in range(200):
            on.instrument.misbehaviour.clear()
            on.instrument.misbehave(f"VAL? {asked + 1}", *_mischief(chance, str(asked + 1).encode()))
            for _ in range(2):
                asked += 1
                try:
                    answer = on.link.query(f"VAL? {asked}")
                except BenchError:
                    errors += 1
                else:
                    if answer != str(asked):
                        wrong.append((asked, answer))
    assert wrong == []
    assert errors >= 100


ECHO = {"errors": {"query": ""}, "complete": "", "resynchronise": False, "replies": {"acknowledge": "OK"}}


def echoing(refused: str = "no such message") -> ScriptedInstrument:
    """An instrument that answers each command with OK, and one of them with ERR."""

    def answer(unit: str) -> str | None:
        if unit.startswith("VAL?"):
            return unit.partition(" ")[2]
        return "ERR" if unit == refused else "OK"

    return ScriptedInstrument(answer=answer)


def test_an_acknowledgement_that_nobody_waited_for_is_collected_before_the_next_message() -> None:
    """Switching off waits for nothing, and the link stays in step all the same."""
    with linked(echoing(), **ECHO) as on:
        for _ in range(3):
            on.link.send_now("OUT0")
        assert not on.link.dirty
        assert on.link.query("VAL? 4711") == "4711"
        on.link.set("VSET1:24.00")
        assert on.link.recoveries == 0
        assert on.instrument.heard == ["OUT0", "OUT0", "OUT0", "VAL? 4711", "VSET1:24.00"]


@pytest.mark.parametrize("at_once", [True, False], ids=["sent-now", "set"])
def test_a_command_that_is_not_acknowledged_is_refused(at_once: bool) -> None:
    """Where there is no error queue the word tells; the error comes with the next message where nobody waited."""
    with linked(echoing(refused="OUT0"), **ECHO) as on:
        if at_once:
            on.link.send_now("OUT0")
        with pytest.raises(InstrumentReplyError, match="'OUT0' was answered with 'ERR', not with 'OK'"):
            on.link.query("VAL? 1") if at_once else on.link.set("OUT0")
        assert next_answer_is_right(on)


def test_an_instrument_that_knows_no_marks_is_opened_anew_at_once() -> None:
    """Nothing that it would not understand is sent to it; what takes it from its front panel is sent again."""
    with linked(echoing(), **{**ECHO, "remote": "REMOTE"}) as on:
        on.link.enter_remote()
        on.instrument.misbehave("VAL? 1")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 1")
        assert next_answer_is_right(on)
        assert on.server.connections == 2
        assert on.instrument.heard == ["REMOTE", "VAL? 1", "REMOTE", "*IDN?", "VAL? 4711"]


def test_blank_lines_before_replies_are_skipped() -> None:
    """As many as there are, within the deadline; without the word for it an empty line is the reply."""
    with linked(counter(), replies={"blank_lines": True}) as on:
        on.instrument.misbehave("VAL? 5", b"\r\n\n", 0.02, b"5\n")
        assert on.link.query("VAL? 5") == "5"
        on.instrument.misbehave("VAL? 6", b"\n\n")
        with pytest.raises(InstrumentTimeout):
            on.link.query("VAL? 6")
    with linked(counter()) as on:
        on.instrument.misbehave("VAL? 5", b"\n5\n")
        assert on.link.query("VAL? 5") == ""
