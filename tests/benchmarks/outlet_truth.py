"""Does a load test of an outlet say what is true of it, on many hosts, and how long does it take for that?

Run as `python tests/benchmarks/outlet_truth.py`; `--json` prints one object, `--hosts N` takes fewer or more. Every
host has parts, mains, warmth, a limiter and a past of its own, every bench instruments with errors of their own, all
by seed, at 18 to 28 C. Half of the hosts are the demo's outlet behind its resistor, half that behind its fuse, which
is tripped alone on the bench supply. The whole load test runs on the virtual clock; the truth comes from
`batchtest.simulated.outlet.truth`, which knows nothing of how a station works it out.

- `coverage`: share of hosts whose true cold source resistance lies in the stated 95 % interval: 0.93 to 0.97. True is
  minus the least-squares slope of the true voltages at the same currents, everything at rest.
- `width_ratio`: median of that interval's width over the width that the ideal estimator has: least squares over the
  same readings by one who knows the distribution of every error, from 4,000 draws of them. At most 1.2.
- `unsafe`: hosts whose stated usable current is above what is physically so: on the worst day (mains low, hot) the
  voltage that is needed is there, nothing trips, no rating is passed. Must be 0.
- `boldest`: the largest stated usable current over what is physically so; above 1 is unsafe.
- `boldness`: median of stated over true usable current; here the true one also keeps the hold current of the fuse's
  data sheet, since nobody may promise that a fuse holds more. At least 0.85, of which the file's margin takes 0.9.
- `threshold_inside`: share of fuses whose true threshold current lies in the stated interval.
- `trip_within`: share of fuses whose time to trip was found within 10 % of the true one.
- `sweep_time`: median time of both sweeps over the time that the file and the part's own warming allow.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

os.environ.setdefault("OMP_NUM_THREADS", "1")  # two workers, two cores

import numpy as np
from outlet_stands import OutletStand, demo_outlet, outlet_stand, planned

from batchtest.capacity.answer import Answer, answer_of
from batchtest.capacity.usable import floor_V
from batchtest.files.outlets import OutletSetup
from batchtest.judging.accuracy import pick_range, row_for
from batchtest.nouns import Attempt, Line, Measurand, Phase
from batchtest.simulated.outlet.heat import Warming, Warmth
from batchtest.simulated.outlet.truth import OutletTruth

BLOCK, DRAWS = 10, 4000
AMBIENTS_C = (18.0, 20.5, 23.0, 25.5, 28.0)
SERIAL, OWNER = "CB-001", "the owner, in writing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What came of one host; `nan` where it does not apply."""

    host: int
    fuse: bool
    covered: bool
    width_ratio: float
    stated_A: float
    physical_A: float
    true_A: float
    threshold_inside: float
    trip_ratio: float
    sweep_ratio: float
    wrong: str = ""


def main() -> None:
    """Test the hosts, block by block on both cores, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--hosts", type=int, default=1000)
    wanted = parser.parse_args()
    began = time.monotonic()
    with ProcessPoolExecutor(2) as workers:
        blocks = workers.map(tested, range(0, wanted.hosts, BLOCK))
        found = [each for block in blocks for each in block][: wanted.hosts]
    figures = {**figured(found), "took_s": round(time.monotonic() - began, 1)}
    if wanted.json:
        print(json.dumps(figures))
        return
    for name, value in figures.items():
        print(f"{name:<24} {value}")


def figured(found: Sequence[Found]) -> dict[str, Any]:
    """The figures of the head of this file, of all hosts and of each kind."""
    sound = [each for each in found if not each.wrong]
    fuses, resistors = ([each for each in sound if each.fuse is kind] for kind in (True, False))
    unsafe = [each for each in sound if each.stated_A > each.physical_A]
    return {
        "hosts": len(found),
        "not_answered": [f"{each.host}: {each.wrong}" for each in found if each.wrong],
        "coverage": _mean(each.covered for each in sound),
        "coverage_resistor": _mean(each.covered for each in resistors),
        "coverage_fuse": _mean(each.covered for each in fuses),
        "width_ratio": _median(each.width_ratio for each in sound),
        "width_ratio_resistor": _median(each.width_ratio for each in resistors),
        "width_ratio_fuse": _median(each.width_ratio for each in fuses),
        "unsafe": len(unsafe),
        "unsafe_listed": [asdict(each) for each in unsafe[:5]],
        "boldest": round(max((each.stated_A / each.physical_A for each in sound), default=math.nan), 4),
        "boldness": _median(each.stated_A / each.true_A for each in sound),
        "boldness_resistor": _median(each.stated_A / each.true_A for each in resistors),
        "boldness_fuse": _median(each.stated_A / each.true_A for each in fuses),
        "boldness_fuse_physical": _median(each.stated_A / each.physical_A for each in fuses),
        "threshold_inside": _mean(each.threshold_inside for each in fuses),
        "trip_within": _mean(abs(each.trip_ratio - 1) <= 0.1 for each in fuses),
        "trip_worst": round(max((abs(each.trip_ratio - 1) for each in fuses), default=math.nan), 4),
        "sweep_time": _median(each.sweep_ratio for each in sound),
        "sweep_time_worst": round(max((each.sweep_ratio for each in sound), default=math.nan), 3),
    }


def tested(first: int) -> list[Found]:
    """One block of hosts, each on a bench of its own."""
    shared = "/dev/shm" if Path("/dev/shm").is_dir() else None
    found = []
    for host in range(first, first + BLOCK):
        with tempfile.TemporaryDirectory(dir=shared) as folder:
            try:
                found.append(one(host, Path(folder)))
            except Exception as error:  # one host that cannot be tested is a figure, not the end
                found.append(_none(host, f"{type(error).__name__}: {error}"))
    return found


def one(host: int, folder: Path) -> Found:
    """One load test, against what is true."""
    fuse, ambient_C = bool(host % 2), AMBIENTS_C[host // 2 % len(AMBIENTS_C)]
    name, permitted_by = ("cabinet-outlet-fuse", OWNER) if fuse else ("cabinet-outlet", None)
    setup = _told(demo_outlet(name, seed=1000 + host), ambient_C)
    with outlet_stand(folder, setup, planned(name, permitted_by, ambient_C), ambient_C) as stand:
        attempt, ending = stand.test(SERIAL)
        answer = answer_of(stand.station.procedure.known, attempt.lines, ambient_C)
        truth = OutletTruth.of(setup.host, SERIAL)
    assert truth is not None
    if ending.error is not None or answer.cold_fit is None or answer.fitted is None:
        return _none(host, str(ending.error or attempt.first_cause))
    return _against(host, stand, attempt, answer, truth)


def _told(setup: OutletSetup, ambient_C: float) -> OutletSetup:
    """The same at another ambient, with what nothing here is asked of cut short: the hold test, and R long after."""
    bench = setup.host.bench.model_copy(update={"ambient": Decimal(str(ambient_C))})
    hold, trip = setup.outlet.hold, setup.outlet.trip
    shorter = {
        "hold": None if hold is None else hold.model_copy(update={"time": Decimal(60)}),
        "trip": None if trip is None else trip.model_copy(update={"after": Decimal(60)}),
    }
    outlet = setup.outlet.model_copy(update=shorter)
    return replace(setup, host=replace(setup.host, bench=bench), outlet=outlet)


def _against(host: int, stand: OutletStand, attempt: Attempt, answer: Answer, truth: OutletTruth) -> Found:
    setup, known = stand.station.setup, stand.station.procedure.known
    assert answer.cold_fit is not None
    assert answer.fitted is not None
    band, currents = answer.cold_fit.ohm, answer.cold_fit.currents_A
    at_C = known.ambient_max_C
    physical_A = min(truth.usable_A(floor_V(known.demands, at_C), at_C), *(each.current_A for each in known.ceilings))
    trips = _trips(attempt.lines)
    threshold, true_threshold_A = answer.threshold_A, truth.threshold_A()
    fuse = setup.outlet.fuse is not None
    silent = fuse and (threshold is None or not trips)
    return Found(
        host=host,
        fuse=fuse,
        covered=band.lower <= truth.source_ohm(currents) <= band.upper,
        width_ratio=(band.upper - band.lower) / 2 / ideal_half_ohm(setup, truth, currents, host),
        stated_A=answer.fitted.usable.current_A,
        physical_A=physical_A,
        true_A=min(physical_A, _promised_A(setup, truth, at_C)),
        threshold_inside=math.nan
        if threshold is None
        else float(threshold.lower <= true_threshold_A <= threshold.upper),
        trip_ratio=trips[0] / truth.trip_s(trips[1]) if trips else math.nan,
        sweep_ratio=_swept_s(attempt.lines) / bound_s(setup, truth, sorted(set(currents))),
        wrong="the fuse was not tripped, or its threshold not told" if silent else "",
    )


def ideal_half_ohm(setup: OutletSetup, truth: OutletTruth, currents_A: Sequence[float], seed: int) -> float:
    """Half-width of the interval that holds 95 of 100 errors of least squares over the same readings, ohm."""
    drawn, bench = np.random.default_rng(seed), setup.bench
    currents = np.array(currents_A)
    volts = np.array([truth.cold_V(amperes) for amperes in currents_A])
    slopes = np.array([(truth.cold_V(a + 1e-3) - truth.cold_V(a - 1e-3)) / 2e-3 for a in currents_A])
    volts_rows, amperes_rows = bench.meter.accuracy.volts_dc, bench.load.accuracy.current
    meter = row_for(volts_rows, pick_range(volts_rows, truth.cold_V(0.0) * 1.1))
    load = row_for(amperes_rows, pick_range(amperes_rows, float(setup.outlet.sweep.currents[-1])))
    away = currents - currents.mean()
    weights = -away / (away @ away)
    errors = (
        drawn.uniform(-1, 1, DRAWS) * float(meter.reading) * (weights @ volts)
        - drawn.uniform(-1, 1, DRAWS) * float(load.reading) * (weights @ (slopes * currents))
        - drawn.uniform(-1, 1, DRAWS) * float(load.of_range) * float(load.range) * (weights @ slopes)
        + drawn.normal(0, float(meter.noise) / math.sqrt(bench.meter.readings), (DRAWS, len(currents))) @ weights
    )
    return float(np.quantile(np.abs(errors), 0.95))


def bound_s(setup: OutletSetup, truth: OutletTruth, currents_A: Sequence[float]) -> float:
    """Time that both sweeps need by what the file asks for and by how the part warms, s.

    Cold: each current, up and down, a pulse and a pause. Hot: at each current until the voltage has moved by less than
    `still` in `within`, at the first moment at which that is true.
    """
    sweep, limiter = setup.outlet.sweep, truth.limiter
    still_V, within_s = float(sweep.still), float(sweep.within)
    cold_s = (2 * len(currents_A) + 1) * float(sweep.pause) + 2 * len(currents_A) * float(sweep.pulse)
    warmth, hot_s = Warmth(limiter.body.ambient_C, limiter.body.ambient_C), 0.0
    for amperes in currents_A:
        warming = Warming(limiter.law, limiter.body, lambda _, drawn=amperes: drawn, warmth)
        after_s = 0.0
        while amperes * abs(warming.ohm(after_s + within_s) - warming.ohm(after_s)) >= still_V:
            after_s += 0.25
        hot_s += after_s + within_s
        warmth = warming.at(after_s + within_s)
    return cold_s + hot_s


def _promised_A(setup: OutletSetup, truth: OutletTruth, at_C: float) -> float:
    """What the part in series may carry by its data sheet, A: derated hold, or heat at its true hot resistance."""
    fuse, resistor = setup.outlet.fuse, setup.outlet.resistor
    if fuse is not None:
        at = [float(knot.at) for knot in fuse.derating]
        shares = [float(knot.share) for knot in fuse.derating]
        return float(fuse.hold) * float(np.interp(at_C, at, shares) / np.interp(float(fuse.at), at, shares))
    assert resistor is not None
    full_C, none_C = float(resistor.full_to), float(resistor.none_at)
    allowed_W = float(resistor.power) * min(1.0, max(0.0, (none_C - at_C) / (none_C - full_C)))
    return math.sqrt(allowed_W / truth.cold_ohm)


def _swept_s(lines: Sequence[Line]) -> float:
    """From the first reading of the cold sweep to the last of the hot one, s."""
    swept = [line.elapsed_s for line in lines if line.measurement.phase in (Phase.COLD, Phase.HOT)]
    return max(swept) - min(swept)


def _trips(lines: Sequence[Line]) -> tuple[float, float] | None:
    """Time to trip and the current that was set, s and A."""
    for line in lines:
        if line.measurement.measurand is Measurand.TIME_TO_TRIP and line.reading.value is not None:
            return line.reading.value, line.measurement.load_A or 0.0
    return None


def _none(host: int, wrong: str) -> Found:
    nothing = math.nan
    return Found(
        host=host,
        fuse=bool(host % 2),
        covered=False,
        width_ratio=nothing,
        stated_A=nothing,
        physical_A=nothing,
        true_A=nothing,
        threshold_inside=nothing,
        trip_ratio=nothing,
        sweep_ratio=nothing,
        wrong=wrong or "no answer",
    )


def _mean(values: Any) -> float:
    found = [float(value) for value in values]
    return round(statistics.fmean(found), 4) if found else math.nan


def _median(values: Any) -> float:
    found = list(values)
    return round(statistics.median(found), 4) if found else math.nan


if __name__ == "__main__":
    main()
