"""What page and terminal say of cables, in the same words: what one would do, and how two are told apart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from batchtest.cables.apart import APART
from batchtest.cables.wiring import Difference
from batchtest.files.cable import CableFile
from batchtest.quantities import show, write

if TYPE_CHECKING:
    from batchtest.cables.apart import Compared, Pair
    from batchtest.cables.blind import Blind
    from batchtest.cables.damage import Cascade
    from batchtest.cables.ids import Proposal
    from batchtest.cables.report import Cell, Report
    from batchtest.cables.stress import Stressed

FITS, HARMLESS, DESTROYS = "fits", "harmless but wrong", "destroys"
#: What each verdict of a cell means, in the order of gravity.
MEANINGS = {
    FITS: "every wire goes where this board and host want it",
    HARMLESS: "no part passes its rating, but it is not the right cable",
    DESTROYS: "at least one part passes its rating",
}
#: How many faults are named in one sentence; all of them stand below.
_LISTED = 3
#: Significant digits of stresses, ratings and readings.
_DIGITS = 4


def cell_words(cell: Cell) -> str:
    """A cell of the matrix: its verdict, with the worst part where something burns: "destroys host.RACC (2.25 x)".

    What could not be solved is not called harmless, nor known to burn: "may destroy, not solved".
    """
    worst = worst_stress(cell)
    if worst is not None:
        return f"{cell.verdict} {worst.part} ({ratio_words(worst)})"
    if cell.verdict == DESTROYS:
        return "may destroy, not solved"
    return f"{cell.verdict}, runs backwards" if runs_backwards(cell) else cell.verdict


def heading(cell: Cell) -> str:
    """A combination and its verdict, in capitals where it is grave."""
    short = DESTROYS if cell.damage.stressed else cell_words(cell)
    return f"{where(cell)}: {short.upper() if cell.verdict == DESTROYS else cell.verdict}"


def then_words(cascade: Cascade) -> str:
    """What follows once parts have burned open, before the parts are listed."""
    after = after_words(cascade)
    calm = not (cascade.stressed or cascade.unsolved)
    return f"{after}, nothing else passes its rating" if calm else after


def runs_backwards(cell: Cell) -> bool:
    """Whether a drive runs backwards with it."""
    return any("backwards" in astray for astray in cell.damage.astray)


def worst_stress(cell: Cell) -> Stressed | None:
    """The part that passes its rating furthest; `None` where none does."""
    return max(cell.damage.stressed, key=lambda stressed: stressed.ratio, default=None)


def ratio_words(stressed: Stressed) -> str:
    """Stress over rating, such as "2.25 x"."""
    return f"{stressed.ratio:.2f} x"


def stress_words(stressed: Stressed) -> str:
    """A stressed part in a clause: "host.RACC: power 4.500 W, rated 2.000 W, 2.25 x"."""
    stress, rating = (show(value, stressed.unit, _DIGITS) for value in (stressed.stress, stressed.rating))
    return f"{stressed.part}: {stressed.quantity} {stress}, rated {rating}, {ratio_words(stressed)}"


def brought_words(stressed: Stressed, differences: Sequence[Difference]) -> str:
    """Which pins bring the stress, with the colours of their wires: "board pin 6 (PK)"."""
    colours = {difference.board_pin: difference.colour for difference in differences}
    return ", ".join(
        f"board pin {pin} ({colours[pin]})" if pin in colours else f"board pin {pin}" for pin in stressed.pins
    )


def after_words(cascade: Cascade) -> str:
    """When it happens: "once host.DS1 and host.Q1 have burned open"."""
    return f"once {' and '.join(cascade.after)} {'has' if len(cascade.after) == 1 else 'have'} burned open"


def wrong_cells(report: Report, verdict: str) -> list[Cell]:
    """The cells of one verdict, as the report has them."""
    return [cell for cell in report.cells if cell.verdict == verdict]


def right_cable(report: Report, cell: Cell) -> str:
    """The cable that belongs between the same host and board; empty where none does, or where it is this one."""
    same = [known for known in report.cells if (known.host, known.board) == (cell.host, cell.board)]
    right = [known.cable for known in same if known.verdict == FITS]
    return next((cable for cable in right if cable != cell.cable), "")


def value_words(value: float | None, compared: Compared) -> str:
    """A cold reading as it should come: its value, or "over range" with what it then tells."""
    return show(value, compared.unit, _DIGITS) if value is not None else "over range"


def reading_words(compared: Compared) -> str:
    """How a reading is taken: "id: resistance, range 10.0 kohm at 1.00 mA"."""
    taken = f"range {show(compared.range, compared.unit, 3)} at {show(compared.current_A, 'A', 3)}"
    return f"{compared.point}: {compared.function}, {taken}"


def distance_words(distance: float) -> str:
    """A distance in expanded uncertainties, cut off and never rounded up: 9.999 is not 10.

    >>> distance_words(9.999), distance_words(3311.4), distance_words(0.04)
    ('9.9 U', '3311 U', '0.0 U')
    """
    return f"{math.floor(distance)} U" if distance >= 100 else f"{math.floor(distance * 10) / 10:.1f} U"


def not_apart_words(pair: Pair) -> str:
    """Why two cables cannot be told apart at a fixture, loud."""
    best = distance_words(pair.readings[0].distance) if pair.readings else "nothing is read"
    return (
        f"{pair.one} and {pair.other} CANNOT BE TOLD APART at {pair.fixture} with {pair.board}: the best reading gives "
        f"{best}, and {APART:g} U are needed"
    )


def cure_words(proposal: Proposal) -> str:
    """The id resistor that keeps a cable apart from all others."""
    one, other = proposal.pins
    value = write(proposal.ohms, "ohm")
    least = f"at least {distance_words(proposal.distance)}" if math.isfinite(proposal.distance) else "it is alone"
    return (
        f"give {proposal.cable} an id resistor of {value}, 1 %, between host pins {one} and {other} ({least} from all)"
    )


def cures(pair: Pair, proposals: Sequence[Proposal]) -> Iterator[str]:
    """What would tell a pair apart: the proposals for either cable; where there is none, what else to do."""
    found = [cure_words(proposal) for proposal in proposals if proposal.cable in (pair.one, pair.other)]
    yield from found or [
        "give one of them an id resistor between two host pins that no wire uses, and the fixture a point across them"
    ]


def mating_words(cable: CableFile) -> str:
    """How worn the connectors are: "31 of 500 matings"; loud where they are used up."""
    matings = cable.matings
    if matings is None:
        return "matings not counted"
    return f"{matings.used} of {matings.rated} matings{': WORN, replace it' if worn(cable) else ''}"


def worn(cable: CableFile) -> bool:
    """Whether the connectors were mated as often as they are rated for, or more."""
    return cable.matings is not None and cable.matings.used >= cable.matings.rated


def findings(report: Report) -> list[tuple[str, str]]:
    """The report in a few sentences, each with the verdict that it weighs as much as, the gravest first."""
    found = [_destroying(report), *_astray(report), *_telling(report), _not_seen(report)]
    found += [(f"{name}: {mating_words(cable)}.", DESTROYS) for name, cable in report.cables.items() if worn(cable)]
    return sorted(found, key=lambda finding: -list(MEANINGS).index(finding[1]))


def where(cell: Cell) -> str:
    """A combination, such as "mist-lead between cabinet and vent"."""
    return f"{cell.cable} between {cell.host} and {cell.board}"


def _destroying(report: Report) -> tuple[str, str]:
    bad = wrong_cells(report, DESTROYS)
    total = f"{len(report.cells)} combinations of host, cable and board"
    if not bad:
        return f"None of {total} destroys a part.", FITS
    listed = "; ".join(f"{where(cell)} {cell_words(cell)}" for cell in bad)
    return f"{len(bad)} of {total} would destroy a part: {listed}.", DESTROYS


def _astray(report: Report) -> Iterator[tuple[str, str]]:
    wrong = wrong_cells(report, HARMLESS)
    if wrong:
        listed = "; ".join(where(cell) for cell in wrong if runs_backwards(cell))
        drives = f" A drive runs backwards with {listed}." if listed else ""
        is_wrong = (
            "1 combination is wrong and burns" if len(wrong) == 1 else f"{len(wrong)} combinations are wrong and burn"
        )
        yield f"{is_wrong} nothing.{drives}", HARMLESS


def _telling(report: Report) -> Iterator[tuple[str, str]]:
    for pair in report.pairs:
        if not pair.apart:
            yield f"{not_apart_words(pair)}.", DESTROYS
    if not report.pairs:
        yield "There are no two cables at a fixture to tell apart.", FITS
    elif all(pair.apart for pair in report.pairs):
        nearest = min(report.pairs, key=lambda pair: pair.readings[0].distance)
        least = distance_words(nearest.readings[0].distance)
        yield (
            f"Every two cables are told apart at every fixture; the nearest are {nearest.one} and {nearest.other}, "
            f"{least} at {nearest.fixture} with {nearest.board} ({APART:g} U are needed).",
            FITS,
        )


def _not_seen(report: Report) -> tuple[str, str]:
    harmful = [blind for blind in report.blind if blind.harm]
    if not report.blind:
        return "Every single wiring fault inside a cable is seen by some reading.", FITS
    listed = "; ".join(f"{blind.cable}: {blind.fault}" for blind in harmful[:_LISTED])
    more = f" and {len(harmful) - _LISTED} more" if len(harmful) > _LISTED else ""
    faults = f"{len(report.blind)} wiring fault{'s' if len(report.blind) > 1 else ''} inside a cable of the right id"
    told = f"{faults} cannot be seen by any reading, {len(harmful)} with harm"
    return f"{told}{f': {listed}{more}' if harmful else ''}.", DESTROYS if harmful else HARMLESS


def blind_places(report: Report) -> Iterator[tuple[str, list[Blind], list[str]]]:
    """Where faults stay unseen, such as "vent-lead at vent-nest with vent": those with harm, and the others' names."""
    for at in dict.fromkeys((blind.cable, blind.fixture, blind.board) for blind in report.blind):
        here = [blind for blind in report.blind if (blind.cable, blind.fixture, blind.board) == at]
        harmless = [blind.fault for blind in here if not blind.harm]
        yield "{} at {} with {}".format(*at), [blind for blind in here if blind.harm], harmless
