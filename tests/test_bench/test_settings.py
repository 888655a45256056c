"""Values and status as dialects write them: scaled, one of several in a reply, in words; none unknown."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from batchtest.bench.dialect import AmperesSetting, Answer, Function, Register, Replies, SlewSetting
from batchtest.bench.dialect.parts import pick
from batchtest.bench.registers import read_status
from batchtest.bench.settings import read_value, set_value
from batchtest.errors import InstrumentRefused, InstrumentReplyError
from test_bench.links import linked
from test_bench.scripted import ScriptedInstrument

REPLIES = Replies()


def answering(**answers: str) -> ScriptedInstrument:
    """An instrument with one answer for each word."""
    return ScriptedInstrument(answer=lambda unit: answers.get(unit.rstrip("?")) if unit.endswith("?") else None)


def setting(**keys: Any) -> AmperesSetting:
    """A current with these keys."""
    return AmperesSetting.model_validate({"set": "A {amperes}", "query": "A?", "resolution": "1 mA", **keys})


@pytest.mark.parametrize(
    ("keys", "sent", "held"),
    [
        pytest.param({}, "A 0.0123456789", "0.0123", id="plain"),
        pytest.param({"decimals": 3}, "A 0.012", "0.012", id="decimals"),
        pytest.param({"scale": 10000, "decimals": 0}, "A 123", "00123", id="scaled-integer"),
        pytest.param(
            {"query": {"query": "A?", "value": 2, "of": 3}}, "A 0.0123456789", "9,0.0123,7", id="one-of-three"
        ),
        pytest.param({"query": {"query": "A?", "scale": 1000}}, "A 0.0123456789", "12.3", id="read-in-mA"),
    ],
)
def test_a_value_is_written_and_read_back_as_the_dialect_says(keys: dict[str, Any], sent: str, held: str) -> None:
    """Scale, decimals and place in the reply; what comes back is compared in amperes."""
    with linked(answering(A=held)) as on:
        set_value(on.link, setting(**keys), 0.0123456789, REPLIES)
        assert on.instrument.heard[0] == sent


@pytest.mark.parametrize(("scale", "held"), [(1, "0.03"), (10000, "300")], ids=["plain", "scaled"])
def test_a_clipped_value_is_refused_in_whatever_unit(scale: int, held: str) -> None:
    """The message shows what was asked for and what is held, in amperes."""
    with (
        linked(answering(A=held)) as on,
        pytest.raises(InstrumentRefused, match=r"was given 50\.00 mA and holds 30\.00 mA"),
    ):
        set_value(on.link, setting(scale=scale), 0.05, REPLIES)


@pytest.mark.parametrize(
    ("unit", "sent"), [("A/s", "S 50000"), ("A/ms", "S 50"), ("A/us", "S 0.05")], ids=["s", "ms", "us"]
)
def test_a_slew_rate_is_written_in_the_instruments_unit(unit: str, sent: str) -> None:
    """50 kA/s, whatever it counts in."""
    slew = SlewSetting.model_validate({"set": "S {slew}", "query": "S?", "resolution": "1 A/s", "unit": unit})
    with linked(answering(S=sent[2:])) as on:
        set_value(on.link, slew, 5e4, REPLIES)
        assert on.instrument.heard[0] == sent


def test_a_reply_with_another_number_of_values_is_an_error() -> None:
    """Nobody guesses which of them it is."""
    answer = Answer(query="M?", value=2, of=3)
    with linked(answering(M="1,2")) as on, pytest.raises(InstrumentReplyError, match="has 2 values, 3 were asked for"):
        read_value(on.link, answer, REPLIES)


def register(**keys: Any) -> Register:
    """A register in words, or as changed."""
    words = {"NONE": "nothing", "OVP": "over-voltage", "RVS": "reverse sense"}
    return Register.model_validate({"name": "fault", "query": "F?", "kind": "text", "words": words, **keys})


@pytest.mark.parametrize(
    ("reply", "conditions", "tripped"),
    [("NONE", set(), False), ("OVP", {"over-voltage"}, True), ("RVS", {"reverse sense"}, False)],
)
def test_a_status_in_words_is_kept_raw(reply: str, conditions: set[str], tripped: bool) -> None:
    """The word stands in the record as it came."""
    with linked(answering(F=reply)) as on:
        status = read_status(on.link, [register()], REPLIES)
        assert (status.raw, status.conditions, status.tripped) == (f"fault={reply}", conditions, tripped)


@pytest.mark.parametrize("reply", ["OPS", "none", "0"])
def test_a_status_word_that_nobody_knows_stops(reply: str) -> None:
    """In another case it is another word."""
    with linked(answering(F=reply)) as on, pytest.raises(InstrumentRefused, match=f"'fault' says '{reply}' and the"):
        read_status(on.link, [register()], REPLIES)


def test_registers_of_one_reply_are_asked_for_once() -> None:
    """An event register that is read twice has lost what it had to say."""
    word = register(name="word", kind="condition", words={}, bits={"3": "over-power"}, value=2, of=2)
    with linked(answering(F="OVP,8")) as on:
        status = read_status(on.link, [register(value=1, of=2), word], REPLIES)
        assert on.instrument.heard == ["F?"]
        assert (status.raw, status.conditions) == ("fault=OVP word=8", {"over-voltage", "over-power"})


@pytest.mark.parametrize(("wanted", "cycles"), [(0.05, 0.1), (0.1, 0.1), (1, 1), (2, 10), (100, 10)], ids=str)
def test_the_shortest_integration_that_is_long_enough_is_taken(wanted: float, cycles: float) -> None:
    """Never a shorter one than asked for, but where there is none longer."""
    steps = [{"word": "F", "cycles": 0.1}, {"word": "S", "cycles": 10}, {"word": "M", "cycles": 1}]
    function = Function.model_validate({"select": ["V"], "integrate": "R {word}", "integrations": steps})
    assert float(function.integration(wanted).cycles) == cycles


@pytest.mark.parametrize(("wanted", "word"), [(0.5, "LOW"), (1.0, "LOW"), (-2.0, "HIGH"), (20.0, None)])
def test_the_smallest_range_that_holds_a_value_is_taken(wanted: float, word: str | None) -> None:
    """As instruments do by themselves."""
    assert pick({"HIGH": Decimal(10), "LOW": Decimal(1)}, wanted) == word
