"""What each figure of a review means; firms call different things by the same name."""

from __future__ import annotations

from batchtest.records.batch import FIRST_PASS_YIELD

DEFINITIONS = {
    "first-pass yield": f"{FIRST_PASS_YIELD}, Wilson's beside it",
    "final yield": (
        "boards that passed at the last attempt that was worked through, of all boards with such an attempt, whatever "
        "was done to them in between; scrap and release are notes, and are not counted here"
    ),
    "rolled-throughput yield": (
        "product, over all measurements, of the share of judged boards of which it was not the first cause, at the "
        "first attempt; what follows from a first cause is not counted again, so it lies near the first-pass yield; "
        "its interval is Wilson's with the boards of the least seen measurement"
    ),
    "retest rate": (
        "attempts that were worked through beyond the first, per board; beside it the boards with any such attempt"
    ),
    "recovered on retest": (
        "of the boards that did not pass at first, those that then passed with no rework before it; not all of them "
        "are false failures, since intermittent faults hide here"
    ),
    "stopped and refused": (
        "attempts that ended by the bench's fault, or because cable or fixture were not proven; they tell nothing of a "
        "board, and are in no yield"
    ),
    "first cause": (
        "what decided the first attempt of a board that did not pass; what failed after it on the same board follows "
        "from it, and is not counted again"
    ),
    "exact interval": "95 %, after Clopper and Pearson: it never covers less than it says",
    "Wilson interval": "95 %, after Wilson: it covers what it says on average",
    "comparison": (
        "Fisher's exact test, two-sided, corrected for all comparisons of one dimension after Holm; above 0.05 "
        "nothing can be told"
    ),
    "margin": "distance of a value to the nearer limit; negative is outside",
    "near a limit": "within the value's own expanded uncertainty (k = 2) of a limit, on either side of it",
    "chart of control": (
        "lines three standard deviations from the mean, which the process draws for itself; no board is judged by them"
    ),
    "Cp, Cpk": "limits over six, nearer limit over three standard deviations within batches; from 25 values on",
    "Pp, Ppk": "the same with the standard deviation of all values; interval of Ppk at 95 % after Bissell",
    "tolerance interval": (
        "holds 95 % of all boards to come with 95 % confidence, if values are normal and nothing changes; boards that "
        "failed are in it"
    ),
    "part average limits": (
        "median and six times (Q3 - Q1) / 1.35 of the boards tested last, never outside the specification; listed are "
        "boards that passed and lie as far from the median of their own batch at their fixture"
    ),
    "shift": (
        "mean of a batch less that of the batch before; what the reference board shifted by is taken off, if it was "
        "measured with both; told only where it stands out among all shifts that were looked at"
    ),
}
