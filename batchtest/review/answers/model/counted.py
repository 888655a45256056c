"""What is told of counted boards: yields, causes, comparisons. Shares are ratios, 0.02 is 2 %."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

#: Confidence of every interval in a review.
CONFIDENCE = 0.95


class Dimension(StrEnum):
    """What boards and readings may be grouped by. Operators are never ranked: their groups are sorted by name."""

    BATCH = "batch"
    RAIL = "rail"
    LOAD_POINT = "load point"
    FIXTURE = "fixture"
    CABLE = "cable"
    STATION = "station"
    OPERATOR = "operator"
    MONTH = "month"


class Told(StrEnum):
    """What a comparison can say. Small numbers leave most of them at `CANNOT_TELL`, and that is an answer."""

    BETTER = "better"
    WORSE = "worse"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Two ends, both included; `None` is an end that does not exist."""

    lower: float | None
    upper: float | None

    @classmethod
    def of(cls, ends: tuple[float, float]) -> Interval:
        """From two ends."""
        return cls(lower=ends[0], upper=ends[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A count out of a count.

    Parameters
    ----------
    share : `count / of`; `None` where nothing was counted.
    exact, wilson : intervals by Clopper and Pearson, and by Wilson; 0 to 1 where nothing was counted.
    """

    count: int
    of: int
    share: float | None
    exact: Interval
    wilson: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class RolledYield:
    """Product of the yields of the steps; a board counts against its first cause alone.

    Parameters
    ----------
    share : `None` where no step was judged.
    steps : how many steps there are.
    boards : the fewest boards that any step saw.
    interval : Wilson's with `boards`; wider than independent steps would need.
    """

    share: float | None
    steps: int
    boards: int
    interval: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Yields:
    """The yields of one group of boards; `answers.definitions` says what each means.

    Parameters
    ----------
    begun : boards with any attempt; `never_tested` of them never had one that was worked through.
    first_pass, final : shares of the boards that were tested.
    rolled : `None` where the boards are grouped by rail or load point.
    retests : attempts that were worked through beyond the first, per board; `retested`: boards with any.
    recovered : of the boards that did not pass at first, those that passed at last without a rework in between.
    stopped, refused : attempts that ended by the bench's fault, or for want of proof. They are in no yield.
    """

    begun: int
    never_tested: int
    first_pass: Share
    final: Share | None
    rolled: RolledYield | None
    retested: Share | None
    retests: int
    retests_per_board: float | None
    recovered: Share | None
    stopped: int
    refused: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Boards that share a value of a dimension, such as batch "2026-07-a"."""

    name: str
    yields: Yields


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """All groups by one dimension: by time for batches and months, else by name."""

    by: Dimension
    groups: tuple[Group, ...]
    confounded: str | None = None
    """Why differences between these groups may be those of something else; `None` where nothing shows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A first cause, the boards that have it, and their share of all boards that did not pass at first."""

    name: str
    boards: int
    share: Share
    cumulative: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pareto:
    """First causes by board, the most frequent first; what follows from the first cause is not counted again.

    Parameters
    ----------
    causes : at most ten.
    other : boards with any further cause, and how many such causes there are.
    boards : boards that did not pass at first; `tested` is out of how many.
    few : there are too few boards to take the order for more than chance.
    """

    causes: tuple[Cause, ...]
    other: int
    other_causes: int
    boards: int
    tested: int
    few: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Attempts that ended by no fault of the board: `outcome` is "stopped" or "refused"."""

    outcome: str
    cause: str
    attempts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Readings that were neither passed nor failed, by why, such as "near the lower limit" or "no reading"."""

    reason: str
    readings: int
    where: tuple[str, ...]
    """Measurements with most of them, at most three."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """First-pass yields of two groups, by Fisher's exact test.

    Parameters
    ----------
    one, other : names of the groups; `other` is "all others" where there are too many for every pair.
    p : of the pair alone; `p_holm` as corrected for all pairs that were compared.
    told : whether `one` is better or worse than `other`.
    difference : of the yields, one less other.
    """

    one: str
    other: str
    one_share: Share
    other_share: Share
    p: float
    p_holm: float
    difference: float
    told: Told


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparisons:
    """Group against group by one dimension; `told` says the outcome in one sentence."""

    by: Dimension
    compared: tuple[Comparison, ...]
    told: str
