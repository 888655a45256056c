"""Values that are set and read back, and switches that are no outputs; for all instruments."""

from __future__ import annotations

import math
from collections.abc import Callable

from batchtest.bench.dialect import (
    AmperesSetting,
    Answer,
    AnySetting,
    Replies,
    SecondsSetting,
    SlewSetting,
    Switch,
    VoltsSetting,
    WattsSetting,
)
from batchtest.bench.link import Asked, Link
from batchtest.bench.replies import parse_number, parse_state, split
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused, InstrumentReplyError
from batchtest.quantities import show

_QUANTITY: dict[type[AnySetting], tuple[str, str]] = {
    VoltsSetting: ("volts", "V"),
    AmperesSetting: ("amperes", "A"),
    WattsSetting: ("watts", "W"),
    SecondsSetting: ("seconds", "s"),
    SlewSetting: ("slew", "A/s"),
}


def unit_of(setting: AnySetting) -> str:
    """The base unit of a setting."""
    return _QUANTITY[type(setting)][1]


def finite_number(replies: Replies, answer: Answer | None = None) -> Callable[[str], float]:
    """A parser of one finite number; anything else, over range included, is InstrumentReplyError.

    Parameters
    ----------
    answer : which value of the reply it is, and its scale; the whole reply, without one.
    """

    def parse(reply: str) -> float:
        text = reply
        if answer is not None and answer.of > 1:
            text = split(reply, answer.of, replies.separator)[answer.value - 1]
        value = parse_number(text, units=replies.units, decimal=replies.decimal)
        if not math.isfinite(value):
            raise InstrumentReplyError(f"{reply!r} says that there is no value")
        return value if answer is None else value / float(answer.scale)

    return parse


def held_by(setting: AnySetting, replies: Replies, *, channel: str = "1") -> Asked:
    """What asks for the value that a setting holds, base unit, for `Link.ask_all`."""
    parse = finite_number(replies, setting.query)
    return fill(setting.query.query, channel=channel), lambda reply: parse(reply) / setting.factor


def agrees(setting: AnySetting, held: float, value: float) -> bool:
    """Whether what an instrument holds is what it was given, as far as it can tell."""
    return abs(held - value) <= setting.tolerance * (1 + 1e-9)


def read_value(
    link: Link, answer: Answer, replies: Replies, *, channel: str = "1", keep: Callable[[str], object] = len
) -> float:
    """One finite number; anything else, over range included, is InstrumentReplyError. `keep` gets the raw reply."""
    parse = finite_number(replies, answer)

    def kept(reply: str) -> float:
        keep(reply)
        return parse(reply)

    return link.ask(fill(answer.query, channel=channel), kept)


def set_value(link: Link, setting: AnySetting, value: float, replies: Replies, *, channel: str = "1") -> None:
    """Set a value and read it back.

    Raises
    ------
    InstrumentRefused : an error was in the queue, or the instrument holds another value than it was given.
    """
    quantity, unit = _QUANTITY[type(setting)]
    command = fill(setting.set, **{quantity: setting.written(value)}, channel=channel)
    link.set(command)
    held = link.ask(*held_by(setting, replies, channel=channel))
    if not agrees(setting, held, value):
        raise InstrumentRefused(
            f"{link.name}: {command!r} was given {show(value, unit)} and holds {show(held, unit)}; "
            "is it beyond what the instrument can do?"
        )


def state_of(switch: Switch, *, channel: str = "1") -> Asked:
    """What asks whether something is switched on, for `Link.ask_all`."""
    return fill(switch.query, channel=channel), lambda reply: parse_state(reply, switch.on_words, switch.off_words)


def read_switch(link: Link, switch: Switch, *, channel: str = "1") -> bool:
    """Whether something is switched on."""
    on: bool = link.ask(*state_of(switch, channel=channel))
    return on


def set_switch(link: Link, switch: Switch, on: bool, *, channel: str = "1") -> None:
    """Switch something that is no output, and read it back; InstrumentRefused where it does not follow."""
    command = fill(switch.on if on else switch.off, channel=channel)
    link.set(command)
    if read_switch(link, switch, channel=channel) is not on:
        raise InstrumentRefused(f"{link.name}: {command!r} was not taken; is that a switch at the front panel?")
