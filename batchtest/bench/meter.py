"""The multimeter: a function on a fixed range, an integration time, and several raw values in one reading."""

from __future__ import annotations

from dataclasses import dataclass

from batchtest.bench.dialect import Function, MeterDialect
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_numbers
from batchtest.bench.templates import fill
from batchtest.errors import SetupError
from batchtest.nouns import Measurand

#: Many meters read their own zero before each value, which doubles the time (common practice, no source).
AUTOZERO = 2.0


@dataclass(frozen=True, slots=True)
class RawValues:
    """What one reading brought: +-inf for over range, nan for no number; and the reply as it came."""

    values: tuple[float, ...]
    raw: str


@dataclass(frozen=True, slots=True)
class _Configuration:
    measurand: Measurand
    range: float
    nplc: float
    count: int
    recoveries: int


class Meter:
    """A multimeter. What it is set to is remembered, and sent again only where it changes or the link was lost."""

    def __init__(self, link: Link, dialect: MeterDialect, mains_Hz: float) -> None:
        self.link, self.dialect = link, dialect
        self._line_cycle_s = 1 / mains_Hz
        self._held: _Configuration | None = None

    def configure(self, measurand: Measurand, range_: float, nplc: float, count: int) -> None:
        """Set function, range (base unit), integration (power-line cycles) and count, where they differ."""
        self.link.recover()
        wanted = _Configuration(measurand, range_, nplc, count, self.link.recoveries)
        if self._held == wanted:
            return
        held, self._held = self._held, None
        self.link.set(*self._settings(wanted, held))
        self._held = wanted

    def read(self, measurand: Measurand, range_: float, nplc: float, count: int) -> RawValues:
        """Read `count` raw values in one go.

        Parameters
        ----------
        measurand : voltage (V), resistance or contact resistance (ohm), or diode drop (V).
        range_ : fixed range, base unit; a diode function has none.
        nplc : integration time of one raw value, power-line cycles; see `cycles`.

        Raises
        ------
        BenchError : no reply, or one that is not `count` numbers.
        """
        self.configure(measurand, range_, nplc, count)
        replies = self.dialect.replies
        raw = ""

        def parse(reply: str) -> tuple[float, ...]:
            nonlocal raw
            raw = reply
            return parse_numbers(reply, count, over_range=replies.over_range, units=replies.units)

        duration_s = count * self.cycles(measurand, nplc) * self._line_cycle_s * AUTOZERO
        return RawValues(self.link.ask(self.dialect.read, parse, duration_s), raw)

    def cycles(self, measurand: Measurand, nplc: float) -> float:
        """Integration of one raw value that is truly in use where `nplc` is asked for, power-line cycles."""
        function = self._function(measurand)
        return float(function.cycles) if function.integrate is None else nplc

    def _settings(self, wanted: _Configuration, held: _Configuration | None) -> list[str]:
        """The commands that lead there; selecting resets the rest on many meters, so that it is all sent again."""
        function = self._function(wanted.measurand)
        reselect = held is None or (held.measurand, held.range, held.recoveries) != (
            wanted.measurand,
            wanted.range,
            wanted.recoveries,
        )
        settings = [fill(select, range=wanted.range) for select in function.select] if reselect else []
        if function.integrate is not None and (held is None or reselect or held.nplc != wanted.nplc):
            settings.append(fill(function.integrate, cycles=wanted.nplc))
        if held is None or reselect or held.count != wanted.count:
            settings.append(fill(self.dialect.count, count=wanted.count))
        return [*settings, self.dialect.trigger] if reselect else settings

    def _function(self, measurand: Measurand) -> Function:
        functions = self.dialect.functions
        if measurand is Measurand.VOLTAGE:
            return functions.volts_dc
        if measurand in (Measurand.RESISTANCE, Measurand.CONTACT):
            return functions.ohms
        if measurand is Measurand.DIODE and functions.diode is not None:
            return functions.diode
        raise SetupError(f"{self.link.name}: cannot read {measurand.value}; its dialect has no such function")
