"""What a review says in words, on a page and in a terminal alike: shares, intervals, comparisons."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from batchtest.records.cures import PartFigures
from batchtest.review.answers.model import (
    Comparison,
    Interval,
    Looked,
    RolledYield,
    Share,
    Told,
    Yields,
)
from batchtest.review.answers.words import many

#: Stands where nothing was counted, so that no share can be said.
NOTHING = "none"
#: Counts up to this need no decimal in a percentage: one board is half a per cent.
_WHOLE_PERCENT = 200
_MOST_DECIMALS = 6
#: Name, count, figure, exact and Wilson interval, as words.
YieldRow = tuple[str, str, str, str, str]


def percent(share: float | None, of: int) -> str:
    """A share as a percentage with as many decimals as `of` can bear.

    >>> percent(0.8, 20), percent(0.99987, 15000), percent(None, 0)
    ('80 %', '99.99 %', 'none')
    """
    return NOTHING if share is None else f"{_number(share, of)} %"


def interval(ends: Interval, of: int) -> str:
    """An interval of shares, such as "56 to 94 %"."""
    lower, upper = (0.0 if ends.lower is None else ends.lower), (1.0 if ends.upper is None else ends.upper)
    return f"{_number(lower, of)} to {_number(upper, of)} %"


def counted(share: Share) -> str:
    """What was counted: "16 of 20"."""
    return f"{share.count:,} of {share.of:,}"


def yield_rows(yields: Yields) -> Iterator[YieldRow]:
    """Each figure that is known of a group of boards."""
    yield share_row("first-pass yield", yields.first_pass)
    if yields.final is not None:
        yield share_row("final yield", yields.final)
    if yields.rolled is not None:
        yield _rolled_row(yields.rolled)
    if yields.retested is not None:
        rate = NOTHING if yields.retests_per_board is None else f"{yields.retests_per_board:.3g} a board"
        yield "retest rate", many(yields.retests, "retest"), rate, "", ""
        yield share_row("boards retested", yields.retested)
    if yields.recovered is not None:
        yield share_row("recovered on retest", yields.recovered)


def share_row(name: str, share: Share) -> YieldRow:
    """A share; nothing counted has no interval."""
    if share.share is None:
        return name, counted(share), NOTHING, "", ""
    ends = (interval(share.exact, share.of), interval(share.wilson, share.of))
    return name, counted(share), percent(share.share, share.of), *ends


def _rolled_row(rolled: RolledYield) -> YieldRow:
    known = "" if rolled.share is None else interval(rolled.interval, rolled.boards)
    return "rolled-throughput yield", many(rolled.steps, "step"), percent(rolled.share, rolled.boards), "", known


def stops(yields: Yields) -> str:
    """Attempts that were the station's fault, and what is not known: they stand beside a yield and are not in it."""
    said = [f"{many(yields.stopped, 'attempt')} stopped", f"{yields.refused:,} refused"]
    if yields.never_tested:
        said.append(f"{many(yields.never_tested, 'board')} never worked through")
    return ", ".join(said)


def looked(at: Looked) -> str:
    """What a review looked at, on one line."""
    counts = (
        many(at.batches, "batch", "batches"),
        many(at.boards, "board"),
        many(at.attempts, "attempt"),
        f"{many(at.readings, 'reading')} counted",
    )
    first, last = at.first[:10], at.last[:10]
    return f"{', '.join(counts)}{f', {first}' if first else ''}{f' to {last}' if last != first else ''}"


def told_words(compared: Comparison) -> str:
    """One comparison: who is better, or that nobody can tell."""
    if compared.told is Told.CANNOT_TELL:
        said = f"{compared.one} against {compared.other}: cannot tell"
    else:
        said = f"{compared.one} is {compared.told.value} than {compared.other}"
    shares = f"{counted(compared.one_share)} against {counted(compared.other_share)}"
    return f"{said} ({shares}, p {chance(compared.p_holm)} after Holm)"


def chance(p: float) -> str:
    """A probability to two digits, never as nought.

    >>> chance(0.4871), chance(0.00002)
    ('= 0.49', '< 0.001')
    """
    return "< 0.001" if p < 0.001 else f"= {p:.2g}"


def _number(share: float, of: int) -> str:
    """A share in per cent; what is not all, or not nothing, is never rounded to it."""
    decimals = 0 if of < _WHOLE_PERCENT else 1
    while True:
        text = f"{100 * share:.{decimals}f}"
        if decimals >= _MOST_DECIMALS or share in (0.0, 1.0) or float(text) not in (0.0, 100.0):
            return text
        decimals += 1


def gathered(counts: Sequence[int], width: int) -> list[int]:
    """Counts put together into at most `width` classes of the same size, but for the last.

    >>> gathered([1, 2, 3, 4, 5], 3)
    [3, 7, 5]
    """
    size = max(1, math.ceil(len(counts) / width))
    return [sum(counts[start : start + size]) for start in range(0, len(counts), size)]


def shapes(counts: Iterable[int], steps: str) -> str:
    """Counts as a row of blocks, the largest the full one; nothing is the first, and one is never nothing.

    >>> shapes([0, 1, 50, 100], " ▁▂▃▄▅▆▇█")
    ' ▁▄█'
    """
    together = list(counts)
    largest = max(together, default=0) or 1
    return "".join(steps[math.ceil((len(steps) - 1) * count / largest)] for count in together)


#: Columns of what repairs taught.
REPAIRED = (
    "part",
    "reworked",
    "passed then",
    "not tested since",
    "cured alone",
    "found first",
    "cured alone, by month",
)


def repaired_row(figures: PartFigures) -> tuple[str, ...]:
    """A part, and what reworks of it came to; "alone": no other part was reworked before the test that passed."""
    first = f"{figures.found_first} of {figures.found}" if figures.found else "\u2013"
    months = ", ".join(f"{month}: {count}" for month, count in figures.months.items())
    counts = (figures.reworked, figures.cured, figures.open, len(figures.records))
    return (figures.part, *(f"{count:,}" for count in counts), first, months or "\u2013")
