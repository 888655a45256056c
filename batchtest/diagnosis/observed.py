"""A record's lines as a fault table sees them: values, over-ranges, bounds, states that were reached or not."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from batchtest.diagnosis.model import Column, Ends, FaultTable, Flags, Floats, Probed
from batchtest.diagnosis.readings import BY_HAND_OHM, cold_probe
from batchtest.errors import SetupError, nearest
from batchtest.nouns import Line, Measurand, Phase, Verdict
from batchtest.quantities import show

#: How far a value read by hand may be off, as a share of it, and at least, by unit (common practice, no source):
#: people give two or three digits.
BY_HAND = 0.01
BY_HAND_LEAST: Mapping[str, float] = {"V": 5e-3, "ohm": 0.5}
#: From here on an instrument's number means over range (SCPI-1999, 7.2.1.4: +-9.9E37).
_OVERFLOW = 9e37
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?|[+-]?inf", re.IGNORECASE)
#: What comes after the last reading of a powered board.
_AFTER = (Phase.POWER_DOWN, Phase.DERIVED)


@dataclass(frozen=True, slots=True)
class Observed:
    """What was read.

    Attributes
    ----------
    values : (R,) base unit, not-a-number where there is no value that stands for itself.
    scatter : (R,) standard uncertainty of the reading's own scatter, base unit.
    over : (R,) the meter was over range.
    beyond : (R,) a raw value on its way that crossed an abort bound: the true one lies further out.
    free, limiting : (S,) the supply was seen not to be, or to be, in its current limit.
    contacts : terminals on which the needles did not touch.
    reference : whether the bench's known voltage was read right.
    bad : whether anything did not pass.
    held : the last soft start that held all its windows, or "": up to there a board may be powered again.
    """

    values: Floats
    scatter: Floats
    over: Flags
    beyond: Floats
    free: Flags
    limiting: Flags
    contacts: frozenset[str]
    reference: bool
    bad: bool
    held: str


def observed_of(table: FaultTable, lines: Sequence[Line], probed: Sequence[Probed] = ()) -> Observed:
    """Sort lines and probes into the columns of a table. Of readings that were taken again, the first counts.

    Raises
    ------
    SetupError : a probe is at a place that the table does not have, or in a state that was not reached.
    """
    places = {column.name: index for index, column in enumerate(table.columns)}
    nothing = np.full(len(table.columns), np.nan)
    values, scatter, beyond, over = nothing.copy(), nothing.copy(), nothing.copy(), np.zeros(len(nothing), bool)
    read: dict[str, Line] = {}
    for line in lines:
        name = line.measurement.name
        if name in places and name not in read:
            read[name] = line
            _put(line, table.columns[places[name]], places[name], values, scatter, over, beyond)
    free, limiting = _supply(table, lines, read)
    held = _held(table, read, limiting)
    for one in probed:
        _put_probe(table, places, one, held, values, scatter, over)
    return Observed(
        values=values,
        scatter=scatter,
        over=over,
        beyond=beyond,
        free=free,
        limiting=limiting,
        contacts=frozenset(_untouched(lines)),
        reference=all(_passed(line) for line in lines if line.measurement.name.startswith("reference")),
        bad=bool(limiting.any()) or not all(_passed(line) for line in lines),
        held=held,
    )


def _passed(line: Line) -> bool:
    return line.judgement is None or line.judgement.verdict is Verdict.PASS


def _put(line: Line, column: Column, place: int, values: Floats, scatter: Floats, over: Flags, beyond: Floats) -> None:
    """One line into its column; one that did not settle says nothing for certain."""
    reading = line.reading
    if reading.value is None:
        raw = _overflow(reading.raw)
        if column.measurand is Measurand.VOLTAGE and raw:  # on a range that holds its abort bound
            beyond[place] = math.copysign(line.measurement.range, raw)
        else:
            over[place] = reading.beyond is not None or bool(raw)
        return
    if not column.abort_lower <= reading.value <= column.abort_upper and reading.count <= 1:
        beyond[place] = reading.value
        return
    if reading.settled:
        values[place] = reading.value
        scatter[place] = max(column.noise, reading.spread or 0.0) / math.sqrt(max(reading.count, 1))


def _overflow(raw: str) -> float:
    """The first number of an instrument's reply that stands for over range; 0 where none does."""
    numbers = (float(number) for number in _NUMBER.findall(raw))
    return next((number for number in numbers if abs(number) >= _OVERFLOW), 0.0)


def _untouched(lines: Sequence[Line]) -> list[str]:
    """Terminals whose contact check did not pass."""
    contacts = [line for line in lines if line.measurement.measurand is Measurand.CONTACT]
    return [line.measurement.point for line in contacts if not _passed(line)]


def _supply(table: FaultTable, lines: Sequence[Line], read: Mapping[str, Line]) -> tuple[Flags, Flags]:
    """In which states the supply was seen free of its limit, and in which it must have been in it.

    A soft start that the supply does not come through leaves no reading of its own; a load point leaves all of them. So
    where a powered attempt ended though all that was read held, the supply ended it.
    """
    phases = {line.measurement.phase for line in lines}
    seen = [any(column.state == state and column.name in read for column in table.columns) for state in table.states]
    free, limiting = np.array(seen, bool), np.zeros(len(seen), bool)
    powered = bool(phases & {Phase.SOFT_START, Phase.LOAD, Phase.POWER_DOWN})
    complete = all(seen) and (Phase.DERIVED in phases or not any(one.state == "derived" for one in table.columns))
    if not powered or complete or not _all_held(table, read):
        return free, limiting
    missing = seen.index(False) if False in seen else len(seen)
    soft = missing < len(seen) and table.states[missing].startswith("soft start")
    if soft or missing:
        limiting[missing if soft else missing - 1] = Phase.POWER_DOWN in phases
    return free & ~limiting, limiting


def _all_held(table: FaultTable, read: Mapping[str, Line]) -> bool:
    """Whether nothing that was read ends an attempt."""
    for column in table.columns:
        line = read.get(column.name)
        if line is None or _passed(line):
            continue
        value = line.reading.value
        if column.ends is not Ends.NOTHING or value is None:
            return False
        if not column.abort_lower <= value <= column.abort_upper:
            return False
    return True


def _held(table: FaultTable, read: Mapping[str, Line], limiting: Flags) -> str:
    """The last soft start of which every reading was taken and held."""
    last = ""
    for state, limited in zip(table.states, limiting, strict=True):
        mine = [column for column in table.columns if column.state == state and not column.probe]
        whole = all(column.name in read and not _dangerous(read[column.name], column) for column in mine)
        if not state.startswith("soft start") or limited or not whole:
            return last
        last = state
    return last


def _dangerous(line: Line, column: Column) -> bool:
    value = line.reading.value
    return value is None or not _passed(line) or not column.abort_lower <= value <= column.abort_upper


def _put_probe(
    table: FaultTable,
    places: Mapping[str, int],
    one: Probed,
    held: str,
    values: Floats,
    scatter: Floats,
    over: Flags,
) -> None:
    """A reading by hand into its column."""
    if one.spot not in table.spots:
        raise SetupError(f"no place {one.spot!r} to probe on {table.board}; {nearest(one.spot, list(table.spots))}")
    state = "" if one.unit == "ohm" else one.state or held
    if one.unit == "V" and not state:
        raise SetupError(
            f"{one.spot}: {show(one.value, 'V')} is a powered reading, but this board was never powered; "
            "leave it unpowered and give ohms"
        )
    names = [f"{one.spot} @ {state}"] if state else [cold_probe(one.spot, range_) for range_ in BY_HAND_OHM]
    if names[0] not in places:
        raise SetupError(f"no reading {names[0]!r} in the table; known states: {', '.join(table.states)}")
    for place in (places[name] for name in names):
        if one.value is None or abs(one.value) > table.columns[place].reach:
            over[place] = True
            continue
        values[place] = one.value
        scatter[place] = math.hypot(BY_HAND * one.value, BY_HAND_LEAST[one.unit])
        break  # the meter goes on to the next range only where it must
