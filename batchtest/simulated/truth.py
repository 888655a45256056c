"""The truth about simulated boards, by which the station is judged: from circuit and limits alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Literal

from batchtest.files.library import Setup
from batchtest.nouns import Limit, Measurement
from batchtest.procedure.actions import ApplyLoads, CheckCold, Derive, Procedure, ProvePinMap, SoftStart
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.doubts import Doubt, Doubts, Values
from batchtest.simulated.true_values import TrueValues, true_values

Must = Literal["pass", "not-pass", "either"]

#: How many expanded uncertainties inside its limits a board must be for its pass to be certain.
CERTAIN = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardTruth:
    """What is true of one board.

    Parameters
    ----------
    serial, fault : the board, and the fault it has ("DZ12 short"), `None` for a good one.
    readings : measurement -> true value, base unit; `None` where it cannot be reached (over range, an open needle).
    must : what the outcome must be: "pass", "not-pass", or "either" where the doubt is the instruments'.
    why : the measurements that decided it, or the node without an operating point, in plain words.
    """

    serial: str
    fault: str | None
    readings: Mapping[str, float | None]
    must: Must
    why: str = ""

    def as_json(self) -> dict[str, object]:
        """The same as a plain dictionary, for `json.dumps`."""
        return asdict(self)


def truth(setup: Setup, procedure: Procedure, serials: Sequence[str]) -> list[BoardTruth]:
    """What is true of boards, and what their attempts must come to.

    A value beyond its limit is "not-pass"; all values inside by more than two expanded uncertainties are "pass". The
    error of the load's own current is none of the reading; it widens the doubt of the rails it loads, on both sides.

    Raises
    ------
    SetupError : the bench has no `[simulation]`.
    """
    judge = _Judge(setup, procedure)
    return [judge.board(board) for board in true_values(setup, procedure, serials)]


class _Judge:
    """The limits of a procedure, against which boards are held."""

    def __init__(self, setup: Setup, procedure: Procedure) -> None:
        self._setup = setup
        self._doubts = Doubts(setup, procedure)
        self._measurements = [
            measurement
            for action in (*procedure.gate, *procedure.powered)
            if isinstance(action, ProvePinMap | CheckCold | SoftStart | ApplyLoads | Derive)
            for measurement in action.measurements
        ]

    def board(self, board: TrueValues) -> BoardTruth:
        """What one board must come to, and why."""
        must, why = self._judged(board)
        return BoardTruth(
            serial=board.serial,
            fault=board.fault,
            readings={
                one.name: None if self._blind(one.point) else board.values.get(one.name) for one in self._measurements
            },
            must=must,
            why="; ".join(why),
        )

    def _judged(self, board: TrueValues) -> tuple[Must, list[str]]:
        if board.unsolved:
            return "either", [board.unsolved]
        wrong = self._bench_faults() + [f"{state}: supply in its current limit" for state in board.limiting]
        doubtful = []
        for measurement in self._measurements:
            verdict = self._verdict(measurement, board.values)
            wrong += [measurement.name] if verdict == "not-pass" else []
            doubtful += [measurement.name] if verdict == "either" else []
        return ("not-pass", wrong) if wrong else ("either", doubtful) if doubtful else ("pass", [])

    def _bench_faults(self) -> list[str]:
        """What must keep any board from passing: another cable than the fixture's, a needle that does not touch."""
        simulation = simulation_of(self._setup)
        other = simulation.cable is not None and simulation.cable != self._setup.fixture.cable
        cable = [f"the cable fitted is {simulation.cable}"] if other else []
        return cable + [f"no contact at {terminal}" for terminal in simulation.open_needles]

    def _blind(self, point: str) -> bool:
        ends = self._setup.fixture.points.get(point)
        return ends is not None and bool({ends.plus, ends.minus} & set(simulation_of(self._setup).open_needles))

    def _verdict(self, measurement: Measurement, values: Values) -> Must:
        value, doubt = values[measurement.name], self._doubts.about(measurement, values)
        limits = (measurement.limit, measurement.abort)
        found = {_against(limit, value, doubt) for limit in limits if limit is not None}
        return "not-pass" if "not-pass" in found else "either" if "either" in found else "pass"


def _against(limit: Limit, value: float | None, doubt: Doubt) -> Must:
    if value is None:  # over range: above any upper bound, and above any lower one
        return "pass" if limit.upper is None else "not-pass"
    lower = -math.inf if limit.lower is None else limit.lower
    upper = math.inf if limit.upper is None else limit.upper
    inside = min(value - lower, upper - value)
    if inside < -doubt.load:
        return "not-pass"
    return "pass" if inside > CERTAIN * doubt.reading + doubt.load else "either"
