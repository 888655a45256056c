"""Whether a value has settled: how long to wait at least, and what the values themselves say is still to come.

A point moves to its end as one exponential with the time constant tau that the circuit gives. Two values a time T apart
that differ by d leave d / (exp(T / tau) - 1) to come. Since a board may be slower than its circuit says, the values
must also stand still within their own noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: A value is settled when what is still to come is under this share of its guard band.
SHARE = 0.1
#: The smallest step that is waited for, as a share of the expected value: a board is not its circuit's nominal one.
SMALLEST_STEP = 0.02
#: Differences within this many standard deviations are noise.
SIGMAS = 3.0
#: Longest minimum wait, and how long a value may take after it: time constants, and s.
MOST_CONSTANTS = 12.0
GIVE_UP_CONSTANTS = 20.0
GIVE_UP_S = 1.0


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean of some raw values: value, its standard deviation, and the middle of the time they took, s."""

    value: float
    noise: float
    at_s: float


def minimum_wait(step: float, guard: float, tau_s: float) -> float:
    """Time after which an expected step has died away to a tenth of the guard band, s.

    >>> round(minimum_wait(5.0, 0.0005, 0.01), 3)
    0.115
    """
    if not (tau_s > 0 and step > 0):
        return 0.0
    if not guard > 0:
        return MOST_CONSTANTS * tau_s
    return tau_s * min(MOST_CONSTANTS, max(0.0, math.log(step / (SHARE * guard))))


def longest_wait(tau_s: float) -> float:
    """Time beyond the minimum after which a value that still moves is given up, s."""
    return GIVE_UP_CONSTANTS * tau_s + GIVE_UP_S


def still_to_come(earlier: Mean, later: Mean, tau_s: float) -> float:
    """How far the value may still move after `later`: the predicted change and its noise, base unit.

    >>> round(still_to_come(Mean(4.0, 0.0, 0.0), Mean(4.9, 0.0, 0.02), 0.01), 3)
    0.141
    """
    passed = later.at_s - earlier.at_s
    if tau_s <= 0 or passed / tau_s > 50:
        return 0.0
    decay = math.expm1(passed / tau_s)
    return (
        (abs(later.value - earlier.value) + math.hypot(earlier.noise, later.noise)) / decay if decay > 0 else math.inf
    )


def stands_still(earlier: Mean, later: Mean, guard: float) -> bool:
    """Whether two values differ by no more than noise and a tenth of the guard band, whatever the time constant."""
    noise = math.hypot(earlier.noise, later.noise)
    return abs(later.value - earlier.value) <= SHARE * guard + SIGMAS * noise


def is_settled(earlier: Mean, later: Mean, guard: float, tau_s: float) -> bool:
    """Whether `later` has settled, seen against a value taken before it."""
    return stands_still(earlier, later, guard) and still_to_come(earlier, later, tau_s) <= SHARE * guard
