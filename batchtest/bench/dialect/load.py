"""Dialects of electronic loads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

from pydantic import Field, StrictBool, StrictStr

from batchtest.bench.dialect.base import Dialect
from batchtest.bench.dialect.parts import (
    AmperesSetting,
    AnswerField,
    OptionalCommand,
    Register,
    SecondsSetting,
    SlewSetting,
    Switch,
    VoltsSetting,
    WattsSetting,
    pick,
)
from batchtest.bench.templates import ChannelQuery, RangeCommand, fill, placeholders
from batchtest.files.fields import Amperes, Seconds, Table, Wrong


class Mode(Table):
    """Constant current: how it is chosen, with `{range}` where the mode names its range, and what its query answers.

    It is read back before an input goes on, and chosen again where somebody changed it; and with every reading, which
    does not count where it has changed. `query` is empty where the instrument does not tell.
    """

    set: RangeCommand
    query: ChannelQuery | Literal[""] = ""
    words: tuple[StrictStr, ...] = ()

    def own_faults(self) -> Iterator[Wrong]:
        """A query whose answer nobody knows."""
        if self.query and not self.words:
            yield ("words",), "is missing beside query; write what it answers in constant current"


class LoadDialect(Dialect):
    """An electronic load in constant current.

    `select` goes before channel commands where they do not name the channel themselves, and `select_wait` is the pause
    that the instrument asks for after it. `channel_lists`: several channels may stand in one command, joined by commas.
    `range` chooses the smallest of `ranges` (word -> largest current) that holds the load's own current limit, before
    anything that it may clip. `under_voltage` is where the load stops drawing, `on_timer` how long an input stays on,
    `slew` one setting for both edges or one for each, `sense` is on where it senses at the far end of its leads.
    """

    role: Literal["load"]
    select: OptionalCommand = ""
    select_wait: Seconds = Decimal(0)
    channel_lists: StrictBool = False
    ranges: dict[StrictStr, Amperes] = {}
    range: RangeCommand | Literal[""] = ""
    mode: Mode
    level: AmperesSetting
    enable: Switch
    current_limit: AmperesSetting
    power_limit: WattsSetting
    under_voltage: VoltsSetting | None = None
    on_timer: SecondsSetting | None = None
    slew: tuple[SlewSetting, ...] = Field(default=(), max_length=2)
    sense: Switch | None = None
    clear_trip: OptionalCommand = ""
    volts: AnswerField
    amperes: AnswerField
    status: tuple[Register, ...]

    def own_faults(self) -> Iterator[Wrong]:
        """Ranges that nothing chooses."""
        yield from super().own_faults()
        if self.ranges and "range" not in placeholders(self.range, self.mode.set):
            yield ("ranges",), "stands without {range} in range or mode.set; add it, or leave ranges out"

    def range_for(self, amperes: float) -> str | None:
        """The word of the range that holds a current, or its value where ranges have no words; `None` if none does."""
        return pick(self.ranges, amperes) if self.ranges else f"{amperes:.9g}"

    def off_messages(self, channels: Sequence[int]) -> list[tuple[str, float]]:
        """What switches channels off, in order, each with the pause after it, s."""
        names = [str(channel) for channel in channels]
        if self.channel_lists:
            return [(fill(self.enable.off, channel=",".join(names)), 0.0)]
        selected = ((self.select, float(self.select_wait)),) if self.select else ()
        return [
            (fill(message, channel=name), wait_s)
            for name in names
            for message, wait_s in (*selected, (self.enable.off, 0.0))
        ]
