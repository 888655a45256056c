"""What the live screen knows of the board in the nest: its rails as they are read, and how each phase went."""

from __future__ import annotations

from dataclasses import dataclass, field

from rich.table import Table
from rich.text import Text

from batchtest.capacity.readings import LOADED
from batchtest.commands.marks import WAIVED, marked
from batchtest.commands.screen import clean
from batchtest.nouns import Line, Phase, Verdict, Waiver
from batchtest.pages.scale import scale_of
from batchtest.records.excuse import excuse_of

#: Room for the name of a rail, and for a reading with its verdict, in characters.
_RAIL, _CELL = 10, 22
#: The column of the soft start, left of load point 0; each step of it takes the place of the one before.
_SOFT_START = -1
#: From the least to the most grave.
_GRAVITY = (Verdict.PASS, Verdict.UNREAD, Verdict.DOUBTFUL, Verdict.FAIL)


@dataclass(slots=True)
class BoardView:
    """One attempt while it runs, and until the next begins; what its `waivers` excuse counts by itself.

    `outlet` is the newest reading of a host's outlet under load: there are too many for a table.
    """

    serial: str
    attempt: int
    waivers: tuple[Waiver, ...] = ()
    rails: dict[str, dict[int, Line]] = field(default_factory=dict)
    counts: dict[Phase, int] = field(default_factory=dict)
    worst: dict[Phase, Verdict] = field(default_factory=dict)
    waived: dict[Phase, int] = field(default_factory=dict)
    first_not_passed: Line | None = None
    outlet: Line | None = None

    def add(self, line: Line) -> None:
        """Take a reading in."""
        measurement = line.measurement
        self.counts[measurement.phase] = self.counts.get(measurement.phase, 0) + 1
        if measurement.phase in LOADED:
            self.outlet = line
        elif (column := _column(line)) is not None:
            self.rails.setdefault(measurement.point, {})[column] = line
        if line.judgement is None:
            return
        if excuse_of(line, self.waivers) is not None:
            self.waived[measurement.phase] = self.waived.get(measurement.phase, 0) + 1
            return
        verdict = line.judgement.verdict
        known = self.worst.get(measurement.phase, Verdict.PASS)
        self.worst[measurement.phase] = max(verdict, known, key=_GRAVITY.index)
        if verdict is not Verdict.PASS and self.first_not_passed is None:
            self.first_not_passed = line

    def table(self, width: int, *, ascii_only: bool) -> Table:
        """Rails down; soft start, then load points across: the newest ones that fit `width` characters."""
        points = sorted({point for readings in self.rails.values() for point in readings})
        points = points[-max(1, (width - _RAIL) // _CELL) :]
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
        table.add_column("rail", min_width=_RAIL - 2, no_wrap=True)
        for point in points:
            table.add_column(
                "soft start" if point == _SOFT_START else f"load point {point + 1}", min_width=_CELL - 2, no_wrap=True
            )
        for rail, readings in self.rails.items():
            cells = [_cell(readings.get(point), ascii_only=ascii_only) for point in points]
            table.add_row(Text(clean(rail), style="bold"), *cells)
        return table

    def phases(self, *, ascii_only: bool) -> Text:
        """How each phase went so far, by the gravest verdict in it."""
        text = Text()
        for phase in self.counts:
            text.append("   " if text else "")
            text.append(phase.value, style="dim")
            if phase in self.worst:
                text.append(" ").append(*marked(self.worst[phase].value, ascii_only=ascii_only))
            if phase in self.waived:
                text.append(" ").append(f"{self.waived[phase]} waived", style=WAIVED)
        return text


def described(line: Line) -> str:
    """A reading with its limits on one line: "logic @ load point 1: 5.251 V, limits 4.8 to 5.2 V"."""
    scale = scale_of([line])
    return f"{line.measurement.name}: {scale.reading(line.reading)}, limits {scale.limits(line.measurement.limit)}"


def newest(line: Line) -> str:
    """A reading of an outlet on one line: "hot, 150 mA, 35.2 s: 9.9293 V"."""
    return f"{line.measurement.name}: {scale_of([line]).reading(line.reading)}"


def _column(line: Line) -> int | None:
    """Where a reading of a rail stands in the table; `None` for anything else."""
    measurement = line.measurement
    if not measurement.point:
        return None
    return _SOFT_START if measurement.phase is Phase.SOFT_START else measurement.load_point


def _cell(line: Line | None, *, ascii_only: bool) -> Text:
    if line is None:
        return Text("")
    text = Text(scale_of([line]).reading(line.reading).rjust(10) + " ")
    if line.judgement is not None:
        text.append(*marked(line.judgement.verdict.value, ascii_only=ascii_only))
    return text
