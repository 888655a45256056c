"""Dialects of multimeters: how a function, its range and its integration are chosen, and how values are read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Literal

from pydantic import StrictStr

from batchtest.bench.dialect.base import Dialect
from batchtest.bench.templates import (
    Command,
    CountCommand,
    IntegrateCommand,
    Query,
    SelectCommand,
    placeholders,
)
from batchtest.files.fields import Ohms, PositiveNumber, Ratio, Table, Volts, Wrong


class Integration(Table):
    """One integration that an instrument can do: its power-line cycles, and how it is asked for.

    `word` fills `{word}`; `resolution`, a share of the range, fills `{resolution}` with its product with the range.
    """

    cycles: PositiveNumber
    word: StrictStr = ""
    resolution: Ratio = Decimal(0)


class Function(Table):
    """A function of the multimeter.

    `select` has `{range}`: a number, or the word of the smallest of `ranges` that holds it. `integrate` has `{cycles}`,
    `{seconds}` or `{word}`; where select has `{word}` or `{resolution}`, that sets it. `integrations` are those that
    there are, where not any will do: the shortest that is long enough is taken, else the longest. `cycles` is what
    selecting leaves, in power-line cycles, where nothing sets it.

    With each reading `held_function` asks which function is selected, and is answered with one of `held_words`;
    `held_range` asks for the range, as `{range}` has it, and `held_integration` for the integration, as `integrate` has
    it. What is left out is not read back, and nobody sees it when a key is pressed.
    """

    select: tuple[SelectCommand, ...]
    ranges: Mapping[str, Decimal] = {}
    integrate: IntegrateCommand | None = None
    integrations: tuple[Integration, ...] = ()
    cycles: PositiveNumber = Decimal(10)
    held_function: Query | Literal[""] = ""
    held_words: tuple[StrictStr, ...] = ()
    held_range: Query | Literal[""] = ""
    held_integration: Query | Literal[""] = ""

    def own_faults(self) -> Iterator[Wrong]:
        """A word or resolution that nothing gives; a question whose answer nobody knows."""
        wanted = placeholders(*self.select, self.integrate or "") & {"word", "resolution"}
        if wanted and not self.integrations:
            yield ("integrations",), f"is missing beside {{{min(wanted)}}}; list the instrument's"
        if self.held_function and not self.held_words:
            yield ("held_words",), "is missing beside held_function; write what it answers in this function"
        if self.held_integration and self.integrate is None:
            yield ("held_integration",), "stands without integrate, so that nothing was set; leave it out"

    @property
    def selects_integration(self) -> bool:
        """Whether selecting sets the integration too."""
        return bool(placeholders(*self.select) & {"word", "resolution"})

    @property
    def sets_integration(self) -> bool:
        """Whether the integration can be set at all."""
        return self.integrate is not None or self.selects_integration

    def integration(self, cycles: float) -> Integration:
        """The integration that is taken where `cycles` power-line cycles are asked for."""
        if not self.sets_integration:
            return Integration(cycles=float(self.cycles))
        known = sorted(self.integrations, key=lambda one: one.cycles)
        if not known:
            return Integration(cycles=cycles)
        return next((one for one in known if float(one.cycles) >= cycles * (1 - 1e-9)), known[-1])


class VoltsFunction(Function):
    """A function in volts; `ranges`: word -> range, where ranges are not asked for by their value."""

    ranges: dict[StrictStr, Volts] = {}


class OhmsFunction(Function):
    """A function in ohms; `ranges`: word -> range, where ranges are not asked for by their value."""

    ranges: dict[StrictStr, Ohms] = {}


class Functions(Table):
    """The functions that the station measures with."""

    volts_dc: VoltsFunction
    ohms: OhmsFunction
    diode: VoltsFunction | None = None


class MeterDialect(Dialect):
    """A multimeter. After each selection integration and count are sent again, since selecting resets them on many.

    `count` is empty where one query gives one value: it is then asked as often as values are wanted. `line_frequency`
    asks for the mains frequency that the meter goes by, Hz.
    """

    role: Literal["meter"]
    functions: Functions
    trigger: Command | Literal[""] = ""
    count: CountCommand | Literal[""] = ""
    read: Query
    line_frequency: Query | Literal[""] = ""
