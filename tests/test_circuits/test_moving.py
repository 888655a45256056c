"""A source moved from place to place: closed forms, and the same as one source at a time."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.circuits import Drive, LimitedSource, System, draw_values, nominal_values
from batchtest.circuits.moving import MovingSource
from batchtest.errors import NoOperatingPoint, SetupError

from .demo import joined, small


@given(st.lists(st.floats(2.0, 1e4), min_size=2, max_size=5), st.floats(1e-5, 1e-3))
def test_a_star_of_resistors_reads_as_two_in_series(ohms, amperes):
    """Between any two tips of a star lie their two resistors, in either direction."""
    assembly = small("\n".join(f"R{tip} t{tip} n0 {ohm!r}" for tip, ohm in enumerate(ohms)))
    pairs = list(permutations(range(len(ohms)), 2))
    places = [LimitedSource(f"{one}>{other}", f"host.t{one}", f"host.t{other}") for one, other in pairs]
    settings = [(place.name, Drive(100.0, 1.0, 0.0, amperes)) for place in places]
    found = MovingSource(assembly, places).volts(nominal_values(assembly), settings)
    expected = [amperes * (ohms[one] + ohms[other]) for one, other in pairs]
    assert found[:, 0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("host", ["vent-nest", "cabinet"])
def test_a_moved_source_reads_like_one_that_stays(host):
    """Each place reads what a source of its own reads there, in a dead circuit and in one that feeds itself."""
    assembly = joined(host, "vent-lead", "vent")
    places = [
        LimitedSource(f"{one}>{other}", f"host.{one}", f"host.{other}") for one, other in ((2, 7), (7, 5), (6, 7))
    ]
    values = draw_values(assembly, [f"VN-{number}" for number in range(40)])
    each_C = np.linspace(18.0, 28.0, len(values))
    drives = {place.name: Drive(10.0, 1.0, 0.0, 1e-4) for place in places}
    found = MovingSource(assembly, places).volts(values, list(drives.items()), each_C)
    system = System(assembly, places)
    for row, place in enumerate(places):
        solution = system.solve(values, {place.name: drives[place.name]}, temperature_C=each_C)
        assert found[row] == pytest.approx(solution.between(place.plus, place.minus), abs=1e-7)


def test_the_sample_and_place_without_a_solution_are_named():
    """Where one board at one place has no operating point, the message says which board and where."""
    assembly = small("V1 a n0 3\nR1 a c 1\nE1 d n0 d n0 1")
    values = np.repeat(nominal_values(assembly), 3, axis=0)
    values[:, assembly.parameters.parts.index("host.E1")] = [0.5, 0.5, 1.0]
    moving = MovingSource(assembly, [LimitedSource("meter", "host.c", "host.n0")])
    with pytest.raises(NoOperatingPoint, match=r"for sample 2 with meter on: host\.\w+ would not settle"):
        moving.volts(values, [("meter", Drive(10.0, 1.0, 0.0, 1e-3))])


def test_values_of_the_wrong_shape_are_refused():
    """Part values must fit the circuit, as anywhere."""
    moving = MovingSource(small("R1 a n0 1k"), [LimitedSource("meter", "host.a", "host.n0")])
    with pytest.raises(SetupError, match=r"have the shape \(1, 3\); they need \(samples, 1\)"):
        moving.volts(np.ones((1, 3)), [])
