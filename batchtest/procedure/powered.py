"""The actions with power, hazards last: soft start, load points from none to full, derived values, power-down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from batchtest.files.limits import load_points
from batchtest.judging.accuracy import pick_range
from batchtest.nouns import Measurand, Measurement, Phase
from batchtest.procedure.actions import Action, ApplyLoads, Derive, PowerDown, SoftStart
from batchtest.procedure.dead import DISCHARGE_S
from batchtest.procedure.gate import unpowered
from batchtest.procedure.model import Nominal, ranges_of
from batchtest.procedure.rails import (
    abort_bounds,
    at_load_point,
    derived,
    load_currents,
    volts_range,
)
from batchtest.procedure.times import SETTING_S, Times
from batchtest.procedure.windows import CURRENT_HEADROOM, Step, steps
from batchtest.quantities import show


def powered(nominal: Nominal, times: Times) -> tuple[Action, ...]:
    """Everything that needs a proof."""
    solved = steps(nominal)
    values = tuple(derived(nominal.setup.limits))
    return (
        *(_soft_start(nominal, step, times) for step in solved),
        *_load_points(nominal, solved[-1], times),
        *([Derive(title="regulation and output resistance", seconds=0.0, measurements=values)] if values else []),
        _power_down(nominal, times),
    )


def _soft_start(nominal: Nominal, step: Step, times: Times) -> SoftStart:
    measurements = (_supply_current(nominal, step), *_step_rails(nominal, step))
    inrush_s = float(nominal.setup.fixture.power.inrush)
    return SoftStart(
        title=f"soft start {show(step.volts, 'V', 3)}, at most {show(step.limit_A, 'A', 3)}",
        seconds=3 * SETTING_S + inrush_s + times.of_readings(measurements[1:]),
        measurements=measurements,
        volts=step.volts,
        limit_A=step.limit_A,
        inrush_s=inrush_s,
    )


def _supply_current(nominal: Nominal, step: Step) -> Measurement:
    current = _input_current(nominal, f"{show(step.volts, 'V', 3)} in", step.limit_A, step.expected_A)
    return replace(current, phase=Phase.SOFT_START, limit=step.current)


def _input_current(nominal: Nominal, when: str, limit_A: float, expected_A: float) -> Measurement:
    """What the supply reads of its own current; on a range that holds the limit it is set to."""
    return Measurement(
        name=f"supply current @ {when}",
        phase=Phase.LOAD,
        point="",
        measurand=Measurand.CURRENT,
        unit="A",
        range=pick_range(nominal.setup.bench.supply.accuracy.current, limit_A),
        expected=expected_A,
    )


def _step_rails(nominal: Nominal, step: Step) -> Iterator[Measurement]:
    for name, rail in nominal.setup.limits.rails.items():
        expected, window = step.rails[name]
        yield Measurement(
            name=f"{name} @ {show(step.volts, 'V', 3)} in",
            phase=Phase.SOFT_START,
            point=name,
            measurand=Measurand.VOLTAGE,
            unit="V",
            range=volts_range(ranges_of(nominal.setup), rail),
            limit=window,
            abort=abort_bounds(rail.abort),
            expected=expected,
            settle_s=nominal.settle_s(name),
        )


def _load_points(nominal: Nominal, last: Step, times: Times) -> Iterator[ApplyLoads]:
    limits, fixture = nominal.setup.limits, nominal.setup.fixture
    settle_s = {rail: nominal.settle_s(rail) for rail in limits.rails}
    for index in range(load_points(limits)):
        currents = load_currents(limits, fixture, index)
        expected, supply_A = nominal.powered(last.volts, currents)
        rails = at_load_point(limits, index, ranges_of(nominal.setup), expected, settle_s)
        current = _input_current(nominal, f"load point {index + 1}", CURRENT_HEADROOM * supply_A, supply_A)
        drawn = ", ".join(show(amperes, "A", 3) for amperes in currents.values())
        yield ApplyLoads(
            title=f"load point {index + 1}: {drawn}" if drawn else f"load point {index + 1}",
            seconds=2 * len(currents) * SETTING_S + times.of_settling(rails) + times.of_readings(rails),
            measurements=(*rails, current),
            index=index,
            currents=currents,
            limit_A=CURRENT_HEADROOM * supply_A,
        )


def _power_down(nominal: Nominal, times: Times) -> PowerDown:
    cold = unpowered(nominal, times)
    known = [cold.reference("known voltage", when).measurements for when in ("before the last look", "after it")]
    left = cold.residuals("after power-down", limit=None)
    measurements = tuple(replace(each, phase=Phase.POWER_DOWN) for each in (*known[0], *left, *known[1]))
    return PowerDown(
        title="power down, discharge, safe to disconnect",
        seconds=6 * SETTING_S + DISCHARGE_S + 2 * times.of_readings(measurements),
        measurements=measurements,
        channel=nominal.setup.fixture.discharge.scanner,
        on_s=DISCHARGE_S,
    )
