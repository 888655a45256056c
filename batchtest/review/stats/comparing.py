"""Whether counts differ by more than chance: Fisher's exact test, and Holm's correction for many tests at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Tables whose probabilities differ by no more than this share are equally likely: they were rounded.
_SAME = 1e-7


def fisher(one: tuple[int, int], other: tuple[int, int]) -> float:
    """Probability of a table at least as unlikely as this one, if both shares were the same.

    Two-sided: the sum over all tables of the same margins that are no more likely (Fisher 1935, J. R. Stat. Soc. 98,
    39-82; Irwin's rule of adding up).

    Worked out here because loading scipy.stats for it takes longer than a whole review of some batches.

    Parameters
    ----------
    one, other : (count, of) of each; an `of` of 0 gives 1.

    >>> round(fisher((18, 20), (20, 20)), 2), round(fisher((15, 20), (20, 20)), 3)
    (0.49, 0.047)
    """
    import numpy as np
    from scipy.special import gammaln

    (count, of), (others, of_others) = one, other
    counts = np.arange(max(0, count + others - of_others), min(of, count + others) + 1)

    def log_ways(whole: int, parts: NDArray[np.int_]) -> NDArray[np.float64]:
        ways: NDArray[np.float64] = gammaln(whole + 1) - gammaln(parts + 1) - gammaln(whole - parts + 1)
        return ways

    logs = log_ways(of, counts) + log_ways(of_others, count + others - counts)
    shares = np.exp(logs - logs.max())
    as_unlikely = shares <= shares[count - counts[0]] * (1 + _SAME)
    return float(shares[as_unlikely].sum() / shares.sum())


def holm(probabilities: Sequence[float]) -> list[float]:
    """Corrected so that all of them together err with no more than the level of one.

    Holm (1979), Scand. J. Stat. 6, 65-70: the smallest times m, the next times m - 1, never below one before it.

    >>> holm([0.03, 0.01, 0.04])
    [0.06, 0.03, 0.06]
    """
    order = sorted(range(len(probabilities)), key=probabilities.__getitem__)
    corrected, least = [0.0] * len(order), 0.0
    for done, place in enumerate(order):
        least = max(least, min(1.0, probabilities[place] * (len(order) - done)))
        corrected[place] = least
    return corrected


def welch_interval(
    one: tuple[int, float, float], other: tuple[int, float, float], confidence: float
) -> tuple[float, float]:
    """Interval of the difference of two means, `one` less `other`, whose spreads need not be the same.

    Welch (1947), Biometrika 34, 28-35, with Satterthwaite's degrees of freedom.

    Parameters
    ----------
    one, other : (count >= 2, mean, standard deviation) of each.

    >>> [round(end, 2) for end in welch_interval((10, 5.0, 1.0), (10, 4.0, 1.0), 0.95)]
    [0.06, 1.94]
    """
    from scipy.special import stdtrit

    difference = one[1] - other[1]
    variances = [sd * sd / count for count, _, sd in (one, other)]
    if not sum(variances):
        return difference, difference
    freedom = sum(variances) ** 2 / sum(
        part * part / (count - 1) for part, (count, _, _) in zip(variances, (one, other), strict=True)
    )
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * sum(variances) ** 0.5
    return difference - half, difference + half
