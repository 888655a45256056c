"""The lines of a record as rows of tables: strings and drawings, ready for a template."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from markupsafe import Markup

from batchtest.nouns import Line, Phase, Verdict, Waiver
from batchtest.pages.axis import Axis
from batchtest.pages.bar import bar, bar_axis
from batchtest.pages.scale import NO_LIMIT, Scale, scale_of
from batchtest.quantities import show
from batchtest.records.excuse import excuse_of

K = TypeVar("K", bound=Hashable)

#: Rows that still stand well in half a page with limits of their own. Own choice.
_LONG = 6
#: In the order of the page.
_TITLES = {
    Phase.LOAD: (
        "Rails under load",
        "All loads of a load point are set together. The bars of one rail share one scale.",
    ),
    Phase.DERIVED: ("Derived values", "Computed from the readings under load; errors they share are counted once."),
    Phase.SOFT_START: (
        "Soft start",
        "Windows solved from the circuit and its part tolerances; outside one, power goes off.",
    ),
    Phase.HOST: (
        "Pins of the live host",
        "Nothing mated to it. Windows solved from its circuit alone, mains and part tolerances included.",
    ),
    Phase.GATE: (
        "Before power",
        "Nothing is powered here. A zero counts only between two good readings of the reference.",
    ),
    Phase.POWER_DOWN: ("Power-down", "Loads off, supply off, discharged, then measured."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One reading, written out. `why` is set where the verdict is anything but a pass, `waived` where it is excused."""

    name: str
    value: str
    limits: str
    guard: str
    uncertainty: str
    verdict: Verdict | None
    why: str
    drawing: Markup
    waived: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Rows that stand together, such as one rail at all its load points. `shared`: a limit they all have."""

    title: str
    rows: tuple[Row, ...]
    shared: str = ""

    @property
    def height(self) -> int:
        """How many rows of a table it takes, those that say why included."""
        return len(self.rows) + sum(bool(row.why) for row in self.rows)

    @property
    def own_limits(self) -> bool:
        """Whether its rows must say their limits one by one."""
        return not self.shared and any(row.limits != NO_LIMIT for row in self.rows)

    @property
    def spans(self) -> bool:
        """Whether it is long and wide enough to take the whole page, where short tables stand in two columns."""
        return self.own_limits and len(self.rows) > _LONG

    @property
    def guarded(self) -> bool:
        """Whether any of its readings was judged with a guard band."""
        return any(row.guard for row in self.rows)

    @property
    def guard_is_U(self) -> bool:
        """Whether one column says both, as it does wherever the guarded rule judged."""
        return all(row.guard in ("", row.uncertainty) for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One phase of the procedure. A compact one is set small, without drawings."""

    name: str
    title: str
    note: str
    compact: bool
    groups: tuple[Group, ...]

    @property
    def guard_is_U(self) -> bool:
        """Whether one column says both in every group."""
        return all(group.guard_is_U for group in self.groups)


def sections(lines: Sequence[Line], waivers: Sequence[Waiver] = ()) -> tuple[Section, ...]:
    """Every phase that has lines: rails under load first, since they are what is asked for."""
    found = {phase: [line for line in lines if line.measurement.phase is phase] for phase in _TITLES}
    return tuple(_section(phase, together, waivers) for phase, together in found.items() if together)


def row(line: Line, scale: Scale, axis: Axis, name: str | None = None, excuse: Waiver | None = None) -> Row:
    """Write one line out, on the scale of those it stands with; `excuse` is the waiver that it needed."""
    reading, judgement = line.reading, line.judgement
    passed = judgement is not None and judgement.verdict is Verdict.PASS
    return Row(
        name=name or line.measurement.name,
        value=scale.reading(reading),
        limits=scale.limits(line.measurement.limit),
        guard=scale.of(judgement.guard) if judgement and (judgement.guard or reading.uncertainty) else "",
        uncertainty="" if reading.uncertainty is None else scale.of(reading.uncertainty),
        verdict=judgement.verdict if judgement else None,
        why="" if passed else _why(line, excuse),
        drawing=bar(line, axis, scale),
        waived=excuse is not None,
    )


def _section(phase: Phase, lines: list[Line], waivers: Sequence[Waiver]) -> Section:
    title, note = _TITLES[phase]
    compact = phase in (Phase.GATE, Phase.POWER_DOWN)
    groups = _compact(lines, waivers) if compact else _drawn(lines, phase)
    return Section(name=phase.name.lower(), title=title, note=note, compact=compact, groups=tuple(groups))


def _drawn(lines: list[Line], phase: Phase) -> Iterator[Group]:
    """Derived values stand by kind, all others by rail; at load points one rail shares one axis."""
    for title, together in _bundles(lines, _kind if phase is Phase.DERIVED else _point):
        scale, common = scale_of(together), bar_axis(together)
        yield Group(
            title=title,
            rows=tuple(
                row(line, scale, common if phase is Phase.LOAD else bar_axis([line]), _short_name(line))
                for line in together
            ),
        )


def _compact(lines: list[Line], waivers: Sequence[Waiver]) -> Iterator[Group]:
    """By kind; lines with one limit make a table that says it once, the others share one table."""

    def written(line: Line, scale: Scale) -> Row:
        return row(line, scale, bar_axis([line]), excuse=excuse_of(line, waivers))

    for kind, together in _bundles(lines, _kind):
        alike = _bundles(together, lambda line: line.measurement.limit)
        for limit, same in alike:
            if len(same) > 1:
                scale = scale_of(same)
                yield Group(
                    title=kind,
                    rows=tuple(written(line, scale) for line in same),
                    shared=scale.limits(limit) if limit else "",
                )
        single = [same[0] for _, same in alike if len(same) == 1]
        if single:
            yield Group(title=kind, rows=tuple(written(line, scale_of([line])) for line in single))


def _bundles(lines: Iterable[Line], key: Callable[[Line], K]) -> list[tuple[K, list[Line]]]:
    """Lines by a key, both in the order in which they came."""
    bundles: dict[K, list[Line]] = {}
    for line in lines:
        bundles.setdefault(key(line), []).append(line)
    return list(bundles.items())


def _kind(line: Line) -> str:
    return line.measurement.measurand.value


def _point(line: Line) -> str:
    return line.measurement.point or "supply"


def _short_name(line: Line) -> str:
    """A line's name below the heading of its group."""
    measurement = line.measurement
    if measurement.phase is Phase.DERIVED:
        return measurement.point if measurement.point in measurement.name else measurement.name
    if measurement.load_point is not None:
        drawn = "" if measurement.load_A is None else f": {show(measurement.load_A, 'A', 3)}"
        return f"load point {measurement.load_point + 1}{drawn}"
    return measurement.name.rpartition(" @ ")[2]


def _why(line: Line, excuse: Waiver | None) -> str:
    said = [line.judgement.why] if line.judgement and line.judgement.why else []
    if not line.reading.settled and not any("settle" in each for each in said):
        said.append("did not settle")
    if excuse is not None:
        said.append(f"does not count, by waiver {excuse.number}")
    return "; ".join(said)
