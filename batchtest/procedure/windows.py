"""The windows of the soft start, solved from the circuit: current and rails of a healthy board at each step.

On the demo's circuits the rails look right with a wrong cable while the supply's current is several times too high: the
current window is what notices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import draw_values
from batchtest.files.bench import AmperesAccuracy, VoltsAccuracy
from batchtest.judging.accuracy import half_width, pick_range, row_for
from batchtest.nouns import Limit
from batchtest.procedure.model import Nominal

#: Boards drawn from the part tolerances for one window. Their spread is known to a tenth, which six of it forgive.
BOARDS = 64
#: Half-width of a window in standard deviations of the drawn boards.
SIGMAS = 6.0
#: What a window allows for the instruments, in half-widths of their accuracy: two expanded uncertainties, rounded up.
INSTRUMENTS = 3.0
#: What a rail's window allows beyond that, as a share of the rail when fully powered: these windows are there to keep
#: harm away; what a good board must hold stands in its limits.
RAIL_SLACK = 0.1
#: A step's own current limit over the current that a nominal board draws.
CURRENT_HEADROOM = 2.0


@dataclass(frozen=True, slots=True)
class Step:
    """One step of power-up: its current limit (A), and the windows for the supply's current and for each rail."""

    volts: float
    limit_A: float
    expected_A: float
    current: Limit
    rails: dict[str, tuple[float, Limit]]


def steps(nominal: Nominal) -> list[Step]:
    """Solve the windows of every voltage of the soft start, nothing drawn by the load."""
    values = draw_values(nominal.assembly, [f"window {number}" for number in range(BOARDS)])
    return [_step(nominal, values, float(volts)) for volts in nominal.setup.fixture.power.soft_start]


def _step(nominal: Nominal, values: NDArray[np.float64], volts: float) -> Step:
    accuracy = nominal.setup.bench.supply.accuracy
    solution = nominal.model.powered(values, volts, nominal.largest_A, {})
    amperes = solution.source_A("supply")
    set_V = _off_by(nominal, accuracy.voltage, volts)
    slack = RAIL_SLACK * volts / float(nominal.full_volts)
    rails = {}
    limits = nominal.setup.limits
    for rail in limits.rails:
        drawn = solution.between(*nominal.terminals(rail))
        read_V = _off_by(nominal, nominal.setup.bench.meter.accuracy.volts_dc, float(drawn.mean()))
        slack_V = slack * abs(float(limits.rails[rail].nominal))
        rails[rail] = _window(drawn, INSTRUMENTS * (read_V + set_V) + slack_V)
    expected_A, current = _window(amperes, INSTRUMENTS * _off_by(nominal, accuracy.current, float(amperes.mean())))
    return Step(volts, CURRENT_HEADROOM * expected_A, expected_A, current, rails)


def _off_by(nominal: Nominal, rows: Sequence[VoltsAccuracy] | Sequence[AmperesAccuracy], value: float) -> float:
    """How far an instrument's value may be off, by its accuracy table; for what a supply is set to as well."""
    meter = nominal.setup.bench.meter
    ambient_C = float(nominal.setup.bench.ambient or meter.calibrated_at)
    return half_width(row_for(rows, pick_range(rows, value)), value, ambient_C, float(meter.calibrated_at))


def _window(drawn: NDArray[np.float64], allowed: float) -> tuple[float, Limit]:
    """Mean of the drawn boards, and a window about it: their spread, and what is allowed besides."""
    mean, half = float(drawn.mean()), SIGMAS * float(drawn.std(ddof=1)) + allowed
    return mean, Limit(lower=mean - half, upper=mean + half, source=f"circuit, {BOARDS} drawn boards")
