"""What is known of an outlet before it is loaded: as its files say it, in numbers, and as a record keeps it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from batchtest.capacity.fits import Errors
from batchtest.capacity.model import Ceiling, Demand, Derating, FuseData, Lead, Limiter, ResistorData
from batchtest.capacity.wire import area_of_awg
from batchtest.files.generic_fuses import generic_fuses
from batchtest.files.outlet import OutletFile
from batchtest.files.outlet_parts import Demand as DemandTable
from batchtest.files.outlet_parts import Fuse, Resistor, WhatIf

#: Cross-section of a lead of no length, mm2: whatever it is, it takes no voltage.
_ANY_MM2 = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Another limiter in place of the one that is fitted, and what it is called."""

    name: str
    limiter: Limiter


@dataclass(frozen=True, slots=True, kw_only=True)
class TripTest:
    """Of a trip test: who permitted it, and whether the fuse was tested alone on the bench supply.

    `overloads` says which parts of the host a trip in it would take past their ratings: then it was tested alone.
    """

    permitted_by: str
    current_A: float
    alone: bool
    overloads: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlet:
    """An outlet as it was known before it was loaded; the page of its test is worked out from this and its readings.

    Parameters
    ----------
    limiter : what stands in series with it, `part` of the host's circuit.
    ceilings : currents that its ratings and the parts of its host forbid, the lowest first.
    stop_A, stop : the current that nothing passed while it was swept, and what sets it.
    margin : the share of what it could carry that is promised.
    asked_of : who owns the host and knows of the load test.
    errors : bounds of what all readings of its sweeps share.
    low_mains_V : by how much the outlet is lower with the mains as low as they get, by the host's circuit.
    gives_up_A : what the host gives into a short with the part in series bridged, by its circuit.
    delivers_A : the same with that part at its highest resistance: what trips a fuse, or does not.
    shorted : the parts of the host that a short takes past their ratings, the part in series at its lowest.
    """

    host: str
    point: str
    part: str
    limiter: Limiter
    ceilings: tuple[Ceiling, ...]
    stop_A: float
    stop: str
    ambient_max_C: float
    margin: float
    demands: tuple[Demand, ...]
    others: tuple[Other, ...]
    asked_of: str
    errors: Errors
    low_mains_V: float
    gives_up_A: float
    delivers_A: float
    shorted: tuple[str, ...]
    trip: TripTest | None = None


def limiter_of(file: OutletFile) -> Limiter:
    """What stands in series with an outlet, in numbers."""
    if file.fuse is not None:
        return fuse_data(file.fuse)
    assert file.resistor is not None, "the loader refuses an outlet without either"
    return resistor_data(file.resistor)


def fuse_data(fuse: Fuse) -> FuseData:
    """A resettable fuse's data sheet in numbers."""
    return FuseData(
        hold_A=float(fuse.hold),
        trip_A=float(fuse.trip),
        at_C=float(fuse.at),
        r_min_ohm=float(fuse.r_min),
        r1_max_ohm=float(fuse.r1_max),
        v_max_V=float(fuse.v_max),
        i_max_A=float(fuse.i_max),
        trip_s=float(fuse.time_to_trip.within),
        trip_at_A=float(fuse.time_to_trip.current),
        dissipation_W=float(fuse.dissipation),
        derating=Derating(knots=tuple((float(knot.at), float(knot.share)) for knot in fuse.derating)),
    )


def resistor_data(resistor: Resistor) -> ResistorData:
    """A series resistor in numbers."""
    return ResistorData(
        ohm=float(resistor.resistance),
        rating_W=float(resistor.power),
        tolerance=float(resistor.tolerance),
        full_to_C=float(resistor.full_to),
        none_at_C=float(resistor.none_at),
    )


def demands_of(file: OutletFile) -> tuple[Demand, ...]:
    """What is to hang on an outlet, in numbers."""
    return tuple(
        Demand(
            name=each.name,
            current_A=float(each.current),
            peak_A=float(each.current if each.peak is None else each.peak),
            minimum_V=float(each.minimum),
            lead=Lead(length_m=float(each.length), area_mm2=_area_mm2(each)),
        )
        for each in file.budget
    )


def others_of(file: OutletFile) -> tuple[Other, ...]:
    """What might be fitted instead, in numbers."""
    return tuple(Other(name=each.name, limiter=_other(each)) for each in file.what_if)


def as_json(outlet: Outlet) -> Mapping[str, object]:
    """An outlet as a record keeps it."""
    found: Mapping[str, object] = _adapter().dump_python(outlet, mode="json")
    return found


def of_json(kept: Mapping[str, object]) -> Outlet:
    """An outlet as a record has kept it; raises ValueError where that is no outlet."""
    found: Outlet = _adapter().validate_python(kept)
    return found


def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Outlet)


def _area_mm2(demand: DemandTable) -> float:
    if demand.awg is not None:
        return area_of_awg(demand.awg)
    return _ANY_MM2 if demand.area is None else float(demand.area)


def _other(what_if: WhatIf) -> Limiter:
    if what_if.resistor is not None:
        return resistor_data(what_if.resistor)
    return fuse_data(what_if.fuse or generic_fuses()[what_if.generic or ""])
