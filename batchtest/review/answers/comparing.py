"""Group against group: whether first-pass yields differ by more than chance. "Cannot tell" is an answer."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from batchtest.review.answers.model import CONFIDENCE, Comparison, Comparisons, Dimension, Group, Grouping, Share, Told
from batchtest.review.answers.words import many, percent
from batchtest.review.answers.yields import OF_READINGS, share
from batchtest.review.stats.comparing import fisher, holm

#: With more groups than this each is compared with all others together, not with each other one.
MOST_IN_PAIRS = 12
ALL_OTHERS = "all others"
#: Rails and load points are of the same boards, and people are not ranked: neither is compared.
_NOT_COMPARED = OF_READINGS | {Dimension.OPERATOR}


def comparisons(grouping: Grouping) -> Comparisons | None:
    """Comparisons of the groups that have tested boards; `None` of a dimension that is not to be compared."""
    if grouping.by in _NOT_COMPARED:
        return None
    groups = [group for group in grouping.groups if group.yields.first_pass.of]
    pairs = _pairs(groups)
    alone = [fisher((one.count, one.of), (other.count, other.of)) for _, one, _, other in pairs]
    compared = tuple(_comparison(*pair, p, p_holm) for pair, p, p_holm in zip(pairs, alone, holm(alone), strict=True))
    return Comparisons(by=grouping.by, compared=compared, told=_told(grouping, len(groups), compared))


def _pairs(groups: Sequence[Group]) -> list[tuple[str, Share, str, Share]]:
    shares = [(group.name, group.yields.first_pass) for group in groups]
    if len(shares) <= MOST_IN_PAIRS:
        return [(*one, *other) for one, other in combinations(shares, 2)]
    passed, tested = (sum(getattr(found, each) for _, found in shares) for each in ("count", "of"))
    return [(name, found, ALL_OTHERS, share(passed - found.count, tested - found.of)) for name, found in shares]


def _comparison(one: str, one_share: Share, other: str, other_share: Share, p: float, p_holm: float) -> Comparison:
    difference = (one_share.share or 0.0) - (other_share.share or 0.0)
    told = Told.CANNOT_TELL
    if p_holm < 1 - CONFIDENCE:
        told = Told.BETTER if difference > 0 else Told.WORSE
    return Comparison(
        one=one, other=other, one_share=one_share, other_share=other_share,
        p=p, p_holm=p_holm, difference=difference, told=told,
    )  # fmt: skip


def sentence(found: Comparison, by: Dimension) -> str:
    """What a comparison tells, where it does."""
    worse, better = (found.one, found.one_share), (found.other, found.other_share)
    if found.told is Told.BETTER:
        worse, better = better, worse
    return (
        f"{by} {worse[0]} is worse than {better[0]}: {percent(worse[1])} at first pass against {percent(better[1])}, "
        f"p = {found.p_holm:.2g} corrected for all comparisons"
    )


def _told(grouping: Grouping, groups: int, compared: Sequence[Comparison]) -> str:
    by = grouping.by
    if not compared:
        return f"cannot compare: {many(groups, 'group')} by {by} with tested boards"
    told = sorted((each for each in compared if each.told is not Told.CANNOT_TELL), key=lambda each: each.p_holm)
    if not told:
        least = min(compared, key=lambda each: each.p_holm)
        return (
            f"cannot tell the {groups} groups by {by} apart: {least.one} against {least.other} differ most, "
            f"with p = {least.p_holm:.2g} corrected for {many(len(compared), 'comparison')}"
        )
    more = f"; {many(len(told) - 1, 'more pair differs', 'more pairs differ')}" if len(told) > 1 else ""
    doubt = f" ({grouping.confounded})" if grouping.confounded else ""
    return f"{sentence(told[0], by)}{more}{doubt}"
