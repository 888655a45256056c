"""The multimeter: a function on a fixed range, an integration time, and several raw values in one reading."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from batchtest.bench.dialect import Function, Integration, MeterDialect
from batchtest.bench.dialect.parts import pick
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_numbers
from batchtest.bench.settings import finite_number
from batchtest.bench.templates import fill, placeholders
from batchtest.errors import InstrumentRefused, SetupError
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


@dataclass(frozen=True, slots=True)
class _Check:
    """A query, "" for none; the words or the number that it must be answered with; what that means."""

    query: str
    wanted: tuple[str, ...] | float
    shown: str

    def agrees(self, answer: str | float) -> bool:
        """Whether an answer is one of the words, or the number but for how it is written."""
        if isinstance(self.wanted, tuple):
            return answer in self.wanted
        return math.isclose(float(answer), self.wanted, rel_tol=1e-3)


class Meter:
    """A multimeter. What it is set to is remembered, and sent again only where it changes or the link was lost."""

    def __init__(self, link: Link, dialect: MeterDialect, mains_Hz: float) -> None:
        self.link, self.dialect = link, dialect
        self._line_cycle_s = 1 / mains_Hz
        self._held: _Configuration | None = None
        self._last = self._before = self._last_single = ""

    def configure(self, measurand: Measurand, range_: float, nplc: float, count: int) -> None:
        """Set function, range (base unit), integration (power-line cycles) and count, where they differ."""
        self.link.recover()
        wanted = _Configuration(measurand, range_, nplc, count, self.link.recoveries)
        if self._held == wanted:
            return
        held, self._held = self._held, None
        settings = self._settings(wanted, held)
        if settings:
            self.link.set(*settings)
        self._held = wanted

    def forget(self) -> None:
        """Nothing is known of what it is set to any more; all is set anew before the next reading."""
        self._held = None

    def line_frequency(self) -> float | None:
        """Mains frequency that it goes by, Hz; `None` where its dialect cannot ask."""
        query = self.dialect.line_frequency
        return self.link.ask(query, finite_number(self.dialect.replies)) if query else None

    def repeats(self, got: RawValues) -> bool:
        """Whether a reply is, digit for digit, the one before it: it may be that one, handed out again."""
        return got.raw == self._before

    def read(self, measurand: Measurand, range_: float, nplc: float, count: int) -> RawValues:
        """Read `count` raw values in one go, or one by one where the meter cannot.

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
        each_s = self.cycles(measurand, nplc) * self._line_cycle_s * AUTOZERO
        self._before = self._last
        got = self._read(count, count * each_s) if self.dialect.count else self._one_by_one(count, each_s)
        self._last = got.raw
        return got

    def _one_by_one(self, count: int, each_s: float) -> RawValues:
        """So many single values. A reply like the one before may be that one, handed out again: it is asked for anew.

        A coarse display repeats itself honestly, so that the second reply counts, whatever it is.
        """
        got: list[RawValues] = []
        for _ in range(count):
            one = self._read(1, each_s)
            if one.raw == self._last_single:
                one = self._read(1, each_s)
            self._last_single = one.raw
            got.append(one)
        raw = self.dialect.replies.separator.join(one.raw for one in got)
        return RawValues(tuple(value for one in got for value in one.values), raw)

    def _read(self, count: int, duration_s: float) -> RawValues:
        replies = self.dialect.replies
        raw = ""

        def parse(reply: str) -> tuple[float, ...]:
            nonlocal raw
            raw = reply
            return parse_numbers(
                reply,
                count,
                over_range=replies.over_range,
                units=replies.units,
                decimal=replies.decimal,
                separator=replies.separator,
            )

        return RawValues(self.link.ask(self.dialect.read, parse, duration_s), raw)

    def confirm(self) -> None:
        """Read back that function, range and integration are what they were set to, as far as the dialect can ask.

        Raises
        ------
        InstrumentRefused : they are not, so that what was read is not what was asked for.
        """
        held, self._held = self._held, None
        if held is None:
            return
        checks = self._checks(held)
        errors = self.dialect.errors.query
        *answers, error = self.link.ask_all([*((one.query, self._parser(one)) for one in checks), (errors, str)])
        for one, answer in zip(checks, answers, strict=True):
            if answer is not None and not one.agrees(answer):
                raise InstrumentRefused(
                    f"{self.link.name}: {one.query!r} is {answer!r}, and it was set to {one.shown}; "
                    "was it touched, or has it restarted?"
                )
        self.link.refuse_error(error)
        self._held = held

    def _parser(self, check: _Check) -> Callable[[str], str | float]:
        return str.strip if isinstance(check.wanted, tuple) else finite_number(self.dialect.replies)

    def _checks(self, held: _Configuration) -> tuple[_Check, ...]:
        """What to ask of a configuration, and what its answers must be."""
        function = self._function(held.measurand)
        filled = {
            name: (value,) if isinstance(value, str) else value for name, value in self._filled(function, held).items()
        }
        integration = next(iter(placeholders(function.integrate or "")), "cycles")
        return (
            _Check(function.held_function, function.held_words, held.measurand.value),
            _Check(function.held_range, filled["range"], f"range {held.range:g}"),
            _Check(function.held_integration, filled[integration], f"{filled['cycles']:g} power-line cycles"),
        )

    def cycles(self, measurand: Measurand, nplc: float) -> float:
        """Integration of one raw value that is truly in use where `nplc` is asked for, power-line cycles."""
        return float(self._function(measurand).integration(nplc).cycles)

    def _settings(self, wanted: _Configuration, held: _Configuration | None) -> list[str]:
        """The commands that lead there; selecting resets the rest on many meters, so that it is all sent again."""
        function = self._function(wanted.measurand)
        other_nplc = held is None or held.nplc != wanted.nplc
        reselect = held is None or (held.measurand, held.range, held.recoveries) != (
            wanted.measurand,
            wanted.range,
            wanted.recoveries,
        )
        reselect = reselect or (other_nplc and function.selects_integration)
        filled = self._filled(function, wanted)
        settings = [fill(select, **filled) for select in function.select] if reselect else []
        if function.integrate is not None and (reselect or other_nplc):
            settings.append(fill(function.integrate, **filled))
        if self.dialect.count and (held is None or reselect or held.count != wanted.count):
            settings.append(fill(self.dialect.count, count=wanted.count))
        return [*settings, self.dialect.trigger] if reselect and self.dialect.trigger else settings

    def _filled(self, function: Function, wanted: _Configuration) -> dict[str, float | str]:
        """What placeholders of a function's commands stand for."""
        step: Integration = function.integration(wanted.nplc)
        return {
            "range": self._range(function, wanted.range),
            "cycles": float(step.cycles),
            "seconds": float(step.cycles) * self._line_cycle_s,
            "word": step.word,
            "resolution": float(step.resolution) * wanted.range,
        }

    def _range(self, function: Function, range_: float) -> float | str:
        """The range as the meter wants it: its value, or the word of the smallest that holds it."""
        if not function.ranges:
            return range_
        word = pick(function.ranges, range_)
        if word is None:
            raise SetupError(
                f"{self.link.name}: its dialect has no range for {range_:g}; take the accuracy rows from its data sheet"
            )
        return word

    def _function(self, measurand: Measurand) -> Function:
        functions = self.dialect.functions
        if measurand is Measurand.VOLTAGE:
            return functions.volts_dc
        if measurand in (Measurand.RESISTANCE, Measurand.CONTACT):
            return functions.ohms
        if measurand is Measurand.DIODE and functions.diode is not None:
            return functions.diode
        raise SetupError(f"{self.link.name}: cannot read {measurand.value}; its dialect has no such function")
