"""What is read of an outlet, in which order, and how long it should take; nothing here is measured."""

from __future__ import annotations

from dataclasses import dataclass

from batchtest.capacity.fuse import hold_A
from batchtest.capacity.model import FuseData
from batchtest.capacity.outlet import Outlet
from batchtest.files.outlets import OutletSetup
from batchtest.nouns import Limit, Measurand, Measurement, Phase
from batchtest.outlet.known import BELOW_STOP, currents_of, sweep_range_V
from batchtest.procedure import Action
from batchtest.procedure.host_map import HostProcedure
from batchtest.quantities import show

#: A reading at this share above the highest open-circuit voltage of the circuit leaves nothing on.
ABORT_ABOVE = 1.15
#: Between two readings while a voltage comes to rest, s (own choice).
LOOK_S = 5.0
#: How often a hold test is read, s (own choice).
HOLD_LOOK_S = 30.0
#: When the resistance of a fuse is read after a trip, s since it; then at every doubling (own choice).
FIRST_AFTER_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepCold(Action):
    """Short pulses, rising and falling, between two readings of the open circuit."""

    currents: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepHot(Action):
    """Each current until the voltage rests."""

    currents: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFuse(Action):
    """The derated hold current, for as long as the file asks, and the resistance once it has cooled."""

    current: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TripFuse(Action):
    """A stated multiple of hold until the fuse trips, reset with the load off, and the resistance after it."""

    current: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OutletProcedure:
    """The derived list for one outlet: its host proven first, then loaded; the host is off and dead at the end.

    Attributes
    ----------
    fixture : name of the outlet.
    host : the map of the live host with nothing mated to it.
    template : a reading of the outlet, whose name, phase and current are filled in.
    """

    fixture: str
    host: HostProcedure
    known: Outlet
    template: Measurement
    actions: tuple[Action, ...]

    @property
    def bench(self) -> str:
        """Name of the bench."""
        return self.host.bench

    @property
    def seconds(self) -> float:
        """Time that one outlet should take, s."""
        return self.host.seconds + sum(action.seconds for action in self.actions)


def derive_outlet(setup: OutletSetup, host: HostProcedure, known: Outlet, ambient_C: float) -> OutletProcedure:
    """Work out the ordered actions with which an outlet is load-tested.

    Parameters
    ----------
    host : the derived map of its host.
    ambient_C : at the bench: what its fuse must hold there.
    """
    full_V = full_of(host, setup.outlet.point)
    pin = next(each for each in host.pins if each.point == setup.outlet.point)
    template = Measurement(
        name="open circuit",
        phase=Phase.COLD,
        point=setup.outlet.point,
        measurand=Measurand.VOLTAGE,
        unit="V",
        range=sweep_range_V(setup, full_V),
        abort=Limit(upper=ABORT_ABOVE * full_V, source="the host's circuit"),
        settle_s=pin.settle_s,
    )
    return OutletProcedure(
        fixture=setup.fixture_name,
        host=host,
        known=known,
        template=template,
        actions=tuple(_actions(setup, known, ambient_C)),
    )


def full_of(host: HostProcedure, point: str) -> float:
    """The highest open-circuit voltage that the host's circuit allows at a point, V."""
    upper = host.windows.limits[point].upper
    assert upper is not None, "every pin's window has both bounds"
    return upper


def _actions(setup: OutletSetup, known: Outlet, ambient_C: float) -> list[Action]:
    file, currents = setup.outlet, currents_of(setup, known)
    sweep, trip = file.sweep, known.trip
    pulses = (2 * len(currents) + 2) * float(sweep.pulse + sweep.pause)
    found: list[Action] = [
        SweepCold(title=f"cold sweep, {len(currents)} currents up and down", seconds=pulses, currents=currents),
        SweepHot(
            title=f"hot sweep, {len(currents)} currents to thermal rest",
            seconds=len(currents) * 2 * float(sweep.within),
            currents=currents,
        ),
    ]
    if file.hold is not None and isinstance(known.limiter, FuseData):
        held_A = min(hold_A(known.limiter, ambient_C), BELOW_STOP * known.stop_A)
        seconds = float(file.hold.time + file.hold.cooling)
        found.append(HoldFuse(title=f"hold {show(held_A, 'A', 3)}, then cool", seconds=seconds, current=held_A))
    if file.trip is not None and trip is not None:
        where = "alone, on the bench supply" if trip.alone else "in its host"
        found.append(
            TripFuse(
                title=f"trip the fuse at {show(trip.current_A, 'A', 3)}, {where}",
                seconds=float(file.trip.after) + float(file.fuse.time_to_trip.within if file.fuse else 0),
                current=trip.current_A,
            )
        )
    return found
