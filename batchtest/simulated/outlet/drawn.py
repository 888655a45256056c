"""What is truly in series with the outlet of a host, drawn by seed and serial: its resistance, its heat, its past.

A fuse is drawn inside what its data sheet promises: it holds and trips where that says, its resistance lies in the
window, and it trips in time. That fixes how it sheds and stores heat, since with a current held constant the square of
the threshold goes with the dissipation, and the time to trip with the heat capacity.
"""

from __future__ import annotations

import math
from random import Random

import numpy as np

from batchtest.files.bench import SimulatedOutlet
from batchtest.simulated.outlet.heat import Body
from batchtest.simulated.outlet.laws import FuseLaw, Law, ResistorLaw
from batchtest.simulated.outlet.limiter import Limiter

#: Where in the band from hold to trip current a new fuse has its threshold, where in the window from least to largest
#: resistance it lies, and what share of its longest time to trip it takes.
_THRESHOLD, _WINDOW, _TIME = (0.5, 0.85), (0.2, 0.5), (0.3, 0.8)
_SWITCH_C = (108.0, 122.0)
#: How often it has tripped before, at most, and what stays of each time, as a share of the resistance.
_PAST_TRIPS, _PER_TRIP = 2, (0.03, 0.10)
#: A resistor's temperature coefficient, 1/K, of either sign; how much warmer it gets, K/W, and how fast, s (a film
#: resistor of some watts, common practice, no source).
_PER_KELVIN, _RISE_K_W, _SLOW_S = 200e-6, (40.0, 60.0), (15.0, 25.0)
#: How far the air at the part may be from what the bench was told, K.
_AIR_K = 1.0


def drawn_limiter(told: SimulatedOutlet, resistor_ohm: float, bench_C: float, seed: str) -> Limiter:
    """Draw what a host has.

    Parameters
    ----------
    resistor_ohm : value of the resistor of this host, where it has one, ohm.
    bench_C : temperature at the bench; the air at the part is near it where the bench file does not say otherwise.
    """
    random = Random(f"{seed}/outlet")
    air_C = bench_C + random.uniform(-_AIR_K, _AIR_K) if told.ambient is None else float(told.ambient)
    if told.variant == "resistor":
        law = ResistorLaw(resistor_ohm, random.uniform(-_PER_KELVIN, _PER_KELVIN))
        shed_W_K = 1 / random.uniform(*_RISE_K_W)
        return Limiter(law, Body(shed_W_K, shed_W_K * random.uniform(*_SLOW_S), air_C))
    return _fuse(told, air_C, random)


def threshold_A(law: Law, dissipation_W_K: float, ambient_C: float) -> float:
    """The largest constant current at which a part comes to rest without tripping, A; infinite for a resistor.

    At rest I^2 = D (T - ambient) / R(T). The first maximum of that over T is the threshold: beyond it no rest is left
    before the switch.
    """
    if math.isinf(law.trips_C):
        return math.inf
    degrees_C = np.linspace(ambient_C, law.trips_C, 4001)[1:]
    ohms = np.array([law.ohm(float(each), float(each)) for each in degrees_C])
    return float(np.sqrt((dissipation_W_K * (degrees_C - ambient_C) / ohms).max()))


def trip_s(law: Law, body: Body, amperes: float) -> float:
    """Time in which a constant current brings a part from rest in its air to where it trips, s.

    By quadrature: the integral of C dT / (I^2 R(T) - D (T - ambient)); infinite where the current is at or below the
    threshold, and for a resistor.
    """
    if math.isinf(law.trips_C):
        return math.inf
    degrees_C = np.linspace(body.ambient_C, law.trips_C, 4001)
    ohms = np.array([law.ohm(float(each), float(each)) for each in degrees_C])
    heat_W = amperes**2 * ohms - body.dissipation_W_K * (degrees_C - body.ambient_C)
    if (heat_W <= 0).any():
        return math.inf
    return float(np.trapezoid(body.capacity_J_K / heat_W, degrees_C))


def _fuse(told: SimulatedOutlet, air_C: float, random: Random) -> Limiter:
    hold_A, trip_A, at_C = float(told.hold), float(told.trip), float(told.at)
    least_ohm, most_ohm = float(told.r_min), float(told.r1_max)
    new = FuseLaw(least_ohm + random.uniform(*_WINDOW) * (most_ohm - least_ohm), random.uniform(*_SWITCH_C))
    wanted_A = hold_A + random.uniform(*_THRESHOLD) * (trip_A - hold_A)
    shed_W_K = (wanted_A / threshold_A(new, 1.0, at_C)) ** 2
    at_trip_A, within_s = float(told.trip_current), random.uniform(*_TIME) * float(told.trip_within)
    stored_J_K = within_s / trip_s(new, Body(shed_W_K, 1.0, at_C), at_trip_A)
    per_trip, past = random.uniform(*_PER_TRIP), random.randint(0, _PAST_TRIPS)
    aged = FuseLaw(new.cold_ohm * (1 + per_trip) ** past, new.switch_C)
    return Limiter(aged, Body(shed_W_K, stored_J_K, air_C), per_trip)
