"""Dialects of bench supplies."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from batchtest.bench.dialect.base import Dialect
from batchtest.bench.dialect.parts import AmperesSetting, AnswerField, Register, SecondsSetting, Switch, VoltsSetting
from batchtest.bench.templates import Command
from batchtest.files.fields import Seconds


class SupplyDialect(Dialect):
    """A bench supply, of which one output is used.

    `select` names that output, by number or name, where commands do not; `select_wait` is the pause that the
    instrument asks for after it. `voltage_limit` and `current_limit` are its own protections, which switch it off;
    `watchdog` switches it off when nobody has spoken to it for so long. `sense` is on where it senses at the far end.
    """

    role: Literal["supply"]
    select: Command | Literal[""] = ""
    select_wait: Seconds = Decimal(0)
    voltage: VoltsSetting
    current: AmperesSetting
    enable: Switch
    voltage_limit: VoltsSetting
    current_limit: AmperesSetting | None = None
    watchdog: SecondsSetting | None = None
    sense: Switch | None = None
    clear_trip: Command | Literal[""] = ""
    volts: AnswerField
    amperes: AnswerField
    status: tuple[Register, ...]

    def off_messages(self) -> list[tuple[str, float]]:
        """What switches the output off, in order, each with the pause after it, s."""
        selected = [(self.select, float(self.select_wait))] if self.select else []
        return [*selected, (self.enable.off, 0.0)]
