"""What is known of an outlet before it is loaded: ratings, what its host bears, and so the stop that nothing passes."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.capacity import fuse, resistor
from batchtest.capacity.fits import Errors, errors
from batchtest.capacity.let_through import lowest_ohm
from batchtest.capacity.model import Ceiling, FuseData, Limiter
from batchtest.capacity.outlet import Outlet, TripTest, demands_of, limiter_of, others_of
from batchtest.errors import SetupError
from batchtest.files.outlets import OutletSetup
from batchtest.judging.accuracy import pick_range, row_for
from batchtest.outlet.bearing import ALL_A, Bearing
from batchtest.quantities import show

#: The largest current of a sweep stays below the stop by this share, so that a load's own error does not reach it.
BELOW_STOP = 0.98
#: What stands in series where the part in series is bridged, ohm: what the host itself gives then.
SHORTED_OHM = 0.05


def known_of(setup: OutletSetup, full_V: float, ambient_C: float, permitted_by: str | None) -> Outlet:
    """Work out everything that is known before anything is switched on.

    Parameters
    ----------
    full_V : the highest open-circuit voltage that the host's circuit allows.
    permitted_by : who permitted a trip test; `None` where none is asked for.

    Raises
    ------
    SetupError : fewer than three currents of the sweep lie below the stop, or a generic fuse is not in the table.
    """
    file, bearing = setup.outlet, Bearing.of(setup)
    limiter = limiter_of(file)
    ceilings = tuple(sorted(_ceilings(setup, bearing, limiter), key=lambda each: each.current_A))
    highest = limiter.r1_max_ohm if isinstance(limiter, FuseData) else resistor.highest_ohm(limiter)
    stop = min((*ceilings, _of_limiter(limiter, ambient_C)), key=lambda each: each.current_A)
    outlet = Outlet(
        host=setup.host.host,
        point=file.point,
        part=file.part,
        limiter=limiter,
        ceilings=ceilings,
        stop_A=stop.current_A,
        stop=stop.term,
        ambient_max_C=float(file.ambient_max),
        margin=float(file.margin),
        demands=demands_of(file),
        others=others_of(file),
        asked_of=file.asked_of,
        errors=_errors(setup, full_V, ambient_C),
        low_mains_V=bearing.low_mains_V(highest, stop.current_A, float(setup.fixture.mains.within)),
        gives_up_A=bearing.deliverable_A(SHORTED_OHM),
        delivers_A=bearing.deliverable_A(highest),
        shorted=bearing.overloads(lowest_ohm(limiter), ALL_A),
        trip=None if permitted_by is None else _trip(setup, bearing, limiter, permitted_by),
    )
    if len(currents_of(setup, outlet)) < 3:
        raise SetupError(
            f"{setup.fixture_name}: fewer than three currents of its sweep lie below the stop of "
            f"{show(outlet.stop_A, 'A', 3)} ({outlet.stop}); add lower ones to sweep.currents"
        )
    return outlet


def currents_of(setup: OutletSetup, outlet: Outlet) -> tuple[float, ...]:
    """The currents of the sweep that may be drawn, A: those below the stop."""
    return tuple(
        float(current) for current in setup.outlet.sweep.currents if float(current) <= BELOW_STOP * outlet.stop_A
    )


def sweep_range_V(setup: OutletSetup, full_V: float) -> float:
    """The meter's range for every reading of the outlet, V: one for all, so that its offset cancels."""
    return pick_range(setup.bench.meter.accuracy.volts_dc, full_V)


def _ceilings(setup: OutletSetup, bearing: Bearing, limiter: Limiter) -> Iterator[Ceiling]:
    """What no current may pass for good: each rating, and what the first part of the host to suffer bears."""
    ratings = setup.outlet.ratings
    yield Ceiling(term="upstream fuse", current_A=float(ratings.upstream_fuse))
    yield Ceiling(term="connector", current_A=float(ratings.connector))
    yield Ceiling(term="wire", current_A=float(ratings.wire))
    most_A = float(max(ratings.upstream_fuse, ratings.connector, ratings.wire))
    of_host = bearing.ceiling(lowest_ohm(limiter), most_A)
    if of_host is not None:
        yield of_host


def _of_limiter(limiter: Limiter, ambient_C: float) -> Ceiling:
    """What the part in series stands for good at the bench's ambient."""
    if isinstance(limiter, FuseData):
        return Ceiling(term="hold current of the fuse", current_A=fuse.hold_A(limiter, ambient_C))
    return Ceiling(term="rating of the series resistor", current_A=resistor.largest_A(limiter, ambient_C))


def _errors(setup: OutletSetup, full_V: float, ambient_C: float) -> Errors:
    meter, load = setup.bench.meter, setup.bench.load
    largest_A = float(setup.outlet.sweep.currents[-1])
    return errors(
        row_for(meter.accuracy.volts_dc, sweep_range_V(setup, full_V)),
        row_for(load.accuracy.current, pick_range(load.accuracy.current, largest_A)),
        ambient_C=ambient_C,
        meter_at_C=float(meter.calibrated_at),
        load_at_C=float(meter.calibrated_at),
    )


def _trip(setup: OutletSetup, bearing: Bearing, limiter: Limiter, permitted_by: str) -> TripTest:
    """Whether a trip test in the host would hurt it: then the fuse is tested alone, on the bench supply.

    Raises
    ------
    SetupError : there is no fuse, or its file has no [trip].
    """
    if not isinstance(limiter, FuseData) or setup.outlet.trip is None:
        raise SetupError(f"{setup.fixture_name}: has no [fuse] with a [trip] to test; leave --trip out")
    current_A = float(setup.outlet.trip.multiple) * limiter.hold_A
    ratings = setup.outlet.ratings
    written = {"upstream fuse": ratings.upstream_fuse, "connector": ratings.connector, "wire": ratings.wire}
    past = tuple(
        f"the {name} past its {show(amperes, 'A', 3)}" for name, amperes in written.items() if current_A > amperes
    )
    overloads = (*bearing.overloads(limiter.r_min_ohm, current_A), *past)
    return TripTest(
        permitted_by=permitted_by,
        current_A=current_A,
        alone=bool(overloads),
        overloads=overloads,
    )
