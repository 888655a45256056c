"""Load points: all loads set together, one settling for all rails; then what follows from several of them."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.errors import SafetyTrip
from batchtest.files.library import Setup
from batchtest.judging.accuracy import pick_range, row_for
from batchtest.judging.differences import Shared, output_resistance, regulation, shared
from batchtest.nouns import Line, Measurand, Measurement, Phase, Reading
from batchtest.procedure.actions import ApplyLoads, Derive
from batchtest.proof import Enter
from batchtest.quantities import show
from batchtest.sequencer.power import Hands


def apply_loads(action: ApplyLoads, volts: float, hands: Hands) -> None:
    """Set every load of the point, then read every rail; the supply must not be in its current limit.

    Raises
    ------
    SafetyTrip : the supply limits its current, or a rail crossed an abort bound; the outputs are off.
    """
    bench = hands.bench
    bench.supply.set(volts, action.limit_A)
    for channel, amperes in action.currents.items():
        bench.load.set_current(channel, amperes)
        if amperes > 0:
            bench.load.on(channel)
    since = bench.clock.now()
    for measurement in action.measurements:
        hands.enter(measurement, hands.reader.settled(measurement, since))
    state = bench.supply.measured()
    bench.confirm()
    if state.limiting:
        bench.off()
        raise SafetyTrip(f"{action.title}: supply in its current limit of {show(action.limit_A, 'A')}; switched off")


def derive_values(action: Derive, lines: Sequence[Line], setup: Setup, ambient_C: float, enter: Enter) -> None:
    """Regulation and output resistance from the readings already in the record."""
    for measurement in action.measurements:
        at_points = [line for line in lines if _is_rail(line, measurement)]
        enter(measurement, _derived(measurement, at_points, setup, ambient_C))


def _is_rail(line: Line, measurement: Measurement) -> bool:
    return line.measurement.phase is Phase.LOAD and line.measurement.point == measurement.point


def _derived(measurement: Measurement, lines: Sequence[Line], setup: Setup, ambient_C: float) -> Reading:
    readings = [line.reading for line in lines]
    currents_A = [line.measurement.load_A or 0.0 for line in lines]
    common = _common(lines[0].measurement, max(currents_A), setup, ambient_C)
    if measurement.measurand is Measurand.REGULATION:
        nominal_V, ends_A = float(setup.limits.rails[measurement.point].nominal), (currents_A[0], currents_A[-1])
        return regulation(readings[0], readings[-1], nominal_V, currents_A=ends_A, shared=common)
    return output_resistance(readings, currents_A, shared=common)


def _common(measurement: Measurement, largest_A: float, setup: Setup, ambient_C: float) -> Shared:
    """What the readings of a rail share: one meter range, and one range of the load where it draws at all."""
    accuracy, currents = setup.bench.meter.accuracy, setup.bench.load.accuracy.current
    load = row_for(currents, pick_range(currents, largest_A)) if largest_A else None
    meter = row_for(accuracy.volts_dc, measurement.range)
    return shared(meter, load, ambient_C=ambient_C, calibrated_at_C=float(setup.bench.meter.calibrated_at))
