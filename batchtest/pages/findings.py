"""Findings in words: what probably failed, how probable it is, what says so, and what to measure next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from batchtest.pages.render import moment
from batchtest.quantities import show
from batchtest.records.finding import Finding, Probed, finding_file, latest

#: What stands for everything that the fault table does not know.
SOMETHING_ELSE = "something else, or more than one fault"
#: What stands for the single faults that are not named.
ANOTHER = "one of many other single faults"
#: Below this nothing is added to a line: there are enough unlikely things. Own choice.
_WORTH_A_WORD = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """One cause on a page: its words, how probable it is, and that as a bar."""

    words: str
    probable: str
    bar: Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingView:
    """The last finding about a record, written out for its page; `earlier` are the files of those before it."""

    shares: tuple[Share, ...]
    says: str
    advice: str
    next: str
    probed: tuple[str, ...]
    learned: tuple[str, ...]
    written: str
    file: str
    table: str
    earlier: tuple[str, ...]


def finding_view(findings: Sequence[Finding], about: str) -> FindingView | None:
    """What the page of a record shows of the findings about it; `None` where there are none."""
    found = latest(findings, about)
    if found is None:
        return None
    return FindingView(
        shares=tuple(_shares(found)),
        says=found.says,
        advice=found.advice,
        next=found.next,
        probed=tuple(map(probed_text, found.probed)),
        learned=found.learned,
        written=moment(found.written),
        file=finding_file(found),
        table=found.table_sha256[:12],
        earlier=tuple(finding_file(each) for each in findings if each.about == about and each != found),
    )


def finding_line(finding: Finding) -> str:
    """All of a finding that fits one line.

    "R5B is open (75 %) or R5A is short (13 %)"; where nothing explains the readings, that comes first.
    """
    named = [(cause.probability, cause.words) for cause in finding.causes if cause.probability >= _WORTH_A_WORD]
    named += [(finding.unknown, SOMETHING_ELSE)] if finding.unknown >= _WORTH_A_WORD else []
    named.sort(key=lambda each: -each[0])
    return " or ".join(f"{words} ({percent(share)})" for share, words in named)


def cause_lines(finding: Finding) -> list[str]:
    """What speaks, and each cause with its probability, the likeliest first."""
    told = [f"{percent(probability):>10}  {words}" for words, probability in _told(finding)]
    return [*([finding.says] if finding.says else []), *told]


def finding_lines(finding: Finding) -> list[str]:
    """All of a finding for the screen: its causes, what to do, what to measure next."""
    lines = cause_lines(finding)
    lines += [f"measured by hand: {', '.join(map(probed_text, finding.probed))}"] if finding.probed else []
    lines.append(f"so far: {finding.advice}" if finding.next else finding.advice)
    return [*lines, *([f"measure next: {finding.next}"] if finding.next else [])]


def percent(probability: float) -> str:
    """A probability in words; what is nearly sure or nearly nothing is not rounded to it.

    >>> percent(0.75), percent(0.998), percent(0.001)
    ('75 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def probed_text(probed: Probed) -> str:
    """A value that was measured by hand: "TP7 4.900 V at load point 1"."""
    value = "over range" if probed.value is None else show(probed.value, probed.unit)
    return f"{probed.point} {value} {f'at {probed.state}' if probed.state else 'without power'}"


def _told(finding: Finding) -> list[tuple[str, float]]:
    """Every cause with its probability; what is not named, and the unknown, in their places among them."""
    told = [(cause.words, cause.probability) for cause in finding.causes] + [(SOMETHING_ELSE, finding.unknown)]
    rest = 1.0 - sum(probability for _, probability in told)
    told += [(ANOTHER, rest)] if rest >= _WORTH_A_WORD else []
    return sorted(told, key=lambda each: -each[1])


def _shares(finding: Finding) -> Iterator[Share]:
    for words, probability in _told(finding):
        yield Share(words=words, probable=percent(probability), bar=_bar(probability))


def _bar(probability: float) -> Markup:
    """A probability as a filled part of a bar, nought to one."""
    return Markup(
        '<svg class="odds" viewBox="0 0 100 10" aria-hidden="true"><path d="M0 .5H100V9.5H0Z" class="odds-all"/>'
        '<path d="M0 .5H{0:.4g}V9.5H0Z" class="odds-part"/></svg>'
    ).format(max(0.0, min(100.0, 100 * probability)))
