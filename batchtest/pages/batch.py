"""The page of a batch: what became of every board, yield with its interval, first causes, rails side by side."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from markupsafe import Markup

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Context, Note, Outcome, Waiver
from batchtest.pages import words
from batchtest.pages.findings import finding_line
from batchtest.pages.notes import board_notes
from batchtest.pages.render import moment, render
from batchtest.pages.strip import strips
from batchtest.pages.waivers import Notice, notice
from batchtest.quantities import show
from batchtest.records.batch import FIRST_PASS_YIELD, OF_THE_BOARD, BatchSummary, Yield, batch_summary
from batchtest.records.chain import head, short
from batchtest.records.disk import on_disk, write_whole
from batchtest.records.finding import Finding, latest, read_findings
from batchtest.records.names import CSV
from batchtest.records.note import read_notes
from batchtest.records.record import Record, read_record
from batchtest.records.waiver import read_waivers

#: An interval wider than this says too little to act on. Own choice.
_CANNOT_TELL = 0.3
#: Below this many boards the order of causes is chance. Own choice.
_FEW_CAUSES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    """One serial: what became of it last, its first cause, what probably failed, and every attempt."""

    serial: str
    outcome: str
    cause: str
    attempts: tuple[AttemptLink, ...]
    notes: tuple[str, ...] = ()
    found: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptLink:
    """One attempt and the page it has; `waived` where it was made under a waiver."""

    number: int
    outcome: str
    page: str
    took: str
    waived: bool
    cause: str


def batch_page(
    summary: BatchSummary,
    records: Sequence[Record],
    waivers: Sequence[Waiver] = (),
    notes: Sequence[Note] = (),
    heads: Mapping[str, str] | None = None,
    findings: Sequence[Finding] = (),
) -> str:
    """One HTML file of one batch: no network, no script, prints on A4.

    Parameters
    ----------
    records : those of the batch that can be read, for the rails side by side; their lines may be of any attempt.
    waivers : those in the batch's folder; what its records carry is shown even where it is gone from there.
    notes : those in the batch's folder, on its boards.
    heads : the head of the chain of each station that tested here.
    findings : those in the batch's folder; the last one about a board's last attempt that tells is shown.
    """
    contexts = [record.context for record in records]
    notices = list(_notices(waivers, contexts))
    station = [attempt for attempt in summary.attempts if attempt.outcome not in OF_THE_BOARD]
    return render(
        "batch.html",
        {
            "summary": summary,
            "foot": f"batch {summary.batch}{' (WAIVER)' * bool(notices)}{_chains(heads)}",
            "waivers": notices,
            "simulated": any(context.simulated for context in contexts),
            "revisions": ", ".join(sorted({context.board_revision for context in contexts})),
            "when": _when(summary.attempts),
            "tiles": _tiles(summary),
            "judged": summary.first_pass,
            "share": _percent(summary.first_pass.share),
            "interval": _interval(summary.first_pass),
            "interval_bar": _interval_bar(summary.first_pass),
            "cannot_tell": summary.first_pass.upper - summary.first_pass.lower > _CANNOT_TELL,
            "definition": FIRST_PASS_YIELD,
            "failed": summary.first_pass.boards - summary.first_pass.passed,
            "few": _FEW_CAUSES,
            "boards": tuple(_rows(summary, contexts, notes, findings)),
            "station": [_link(attempt) for attempt in station],
            "strips": strips((record.context.serial, record.lines) for record in _firsts(records)),
            "heads": [(station, short(sha256), sha256) for station, sha256 in (heads or {}).items()],
            "cautions": words.CAUTIONS,
            "disclaimer": words.DISCLAIMER,
        },
    )


def write_batch_page(folder: Path) -> Path:
    """Write `batch.html` into a batch's folder, whole or not at all, and give its path.

    Raises
    ------
    RecordError : the folder cannot be read or the page cannot be written. Damaged records are listed on the page.
    """
    summary, page = batch_summary(folder), folder / "batch.html"
    records, damaged = _read(folder / Path(attempt.record).name for attempt in summary.attempts)
    waivers: tuple[Waiver, ...] = ()
    notes: tuple[Note, ...] = ()
    try:
        waivers = read_waivers(folder.parent, folder.name)
    except RecordError as error:
        damaged |= {"waivers": str(error)}
    try:
        notes = read_notes(folder.parent, folder.name)
    except RecordError as error:
        damaged |= {"notes": str(error)}
    findings: tuple[Finding, ...] = ()
    try:
        findings = read_findings(folder.parent, folder.name)
    except RecordError as error:
        damaged |= {"findings": str(error)}
    heads, no_head = _heads(folder.parent, {record.context.station for record in records})
    known = replace(summary, damaged=summary.damaged | damaged | no_head)
    text = batch_page(known, records, waivers, notes, heads, findings)
    with on_disk(f"{page} cannot be written"):
        write_whole(page, text)
    return page


def _heads(reports: Path, stations: Iterable[str]) -> tuple[dict[str, str], dict[str, str]]:
    """The head of each station's chain, and why another cannot be read."""
    heads: dict[str, str] = {}
    damaged: dict[str, str] = {}
    for station in sorted(stations):
        try:
            sha256 = head(reports, station)
        except RecordError as error:
            damaged[f"chain of {station}"] = str(error)
        else:
            heads |= {station: sha256} if sha256 else {}
    return heads, damaged


def _chains(heads: Mapping[str, str] | None) -> str:
    return "".join(f", chain of {station} {short(sha256)}" for station, sha256 in (heads or {}).items())


def _read(paths: Iterable[Path]) -> tuple[list[Record], dict[str, str]]:
    """The records that can be read, and why the others cannot."""
    records, damaged = [], {}
    for path in paths:
        try:
            records.append(read_record(path))
        except RecordError as error:
            damaged[path.name] = str(error)
    return records, damaged


def _tiles(summary: BatchSummary) -> list[tuple[str, int]]:
    last = list(summary.boards.values())
    return [(outcome.value, last.count(outcome)) for outcome in Outcome]


def _notices(waivers: Sequence[Waiver], contexts: Sequence[Context]) -> Iterator[Notice]:
    """Each waiver once, with the attempts that were made under it."""
    carried = [waiver for context in contexts for waiver in context.waivers]
    for waiver in sorted({*waivers, *carried}, key=lambda known: (known.number, known.sha256)):
        under = [f"{context.serial}.{context.attempt}" for context in contexts if waiver in context.waivers]
        told = f"Tested under it: {', '.join(under)}." if under else "No attempt was made under it."
        yield notice(waiver, told if waiver in waivers else f"{told} ITS OWN RECORD IS GONE.")


def _rows(
    summary: BatchSummary, contexts: Sequence[Context], notes: Sequence[Note], findings: Sequence[Finding]
) -> Iterator[BoardRow]:
    waived = {(context.serial, context.attempt) for context in contexts if context.waivers}
    for serial, outcome in summary.boards.items():
        attempts = [attempt for attempt in summary.attempts if attempt.serial == serial]
        told = [attempt for attempt in attempts if attempt.outcome in OF_THE_BOARD] or attempts
        cause = next((attempt.first_cause for attempt in told if attempt.first_cause), None)
        found = latest(findings, told[-1].record)
        yield BoardRow(
            serial=serial,
            outcome=outcome.value,
            cause=cause or "",
            attempts=tuple(_link(attempt, (serial, attempt.number) in waived) for attempt in attempts),
            notes=tuple(board_notes(notes, serial)),
            found=finding_line(found) if found else "",
        )


def _link(attempt: Attempt, waived: bool = False) -> AttemptLink:
    return AttemptLink(
        number=attempt.number,
        outcome=attempt.outcome.value,
        page=Path(attempt.record).name.removesuffix(CSV) + ".html",
        took=show(attempt.duration_s, "s", 3),
        waived=waived,
        cause=f"{attempt.serial}: {attempt.first_cause or 'no cause was recorded'}",
    )


def _firsts(records: Sequence[Record]) -> list[Record]:
    """The first attempt of each serial that tells of the board, as the yield counts it."""
    told = [record for record in records if record.closing.outcome in OF_THE_BOARD]
    told.sort(key=lambda record: (record.context.serial, record.context.attempt))
    return list({record.context.serial: record for record in reversed(told)}.values())[::-1]


def _when(attempts: Sequence[Attempt]) -> str:
    if not attempts:
        return "nothing closed yet"
    first, last = (pick(attempts, key=lambda attempt: attempt.started).started for pick in (min, max))
    return moment(first) if first == last else f"{moment(first)} to {moment(last)}"


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def _interval(counted: Yield) -> str:
    return f"{100 * counted.lower:.0f} to {100 * counted.upper:.0f} %"


def _interval_bar(counted: Yield) -> Markup:
    """Nought to a hundred per cent, the interval as a thick line, the share as a dot."""
    left, right = (round(300 * share, 1) for share in (counted.lower, counted.upper))
    dot = "" if counted.share is None else f'<circle cx="{300 * counted.share:g}" cy="14" r="7" class="dot-pass"/>'
    ticks = "".join(
        f'<path d="M{x} 8v12" class="line"/><text x="{x}" y="34" class="tick">{x // 3} %</text>' for x in (0, 150, 300)
    )
    return Markup(
        f'<svg class="interval" viewBox="-20 0 340 38" role="img" aria-label="95 % interval: {_interval(counted)}">'
        f'<path d="M0 14H300" class="line"/>{ticks}<path d="M{left:g} 14H{right:g}" class="span"/>{dot}</svg>'
    )
