"""A host's outlet with any part in series: against ngspice, Ohm's law, and the figures of the demo circuits' README."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.circuits import Drive, OutletModel, alone, nominal_values, ratings_of, with_fault
from batchtest.circuits.currents import terminal_currents
from batchtest.errors import SetupError

from .demo import demo_circuit, joined, small, with_loads
from .ngspice import library, voltages

ENDS = ("host.6", "host.7")


def cabinet() -> OutletModel:
    """The demo's cabinet by itself, seen from its outlet."""
    return OutletModel.of(alone(demo_circuit("cabinet")), "host.RACC", ENDS)


@pytest.mark.skipif(library() is None, reason="libngspice is not installed")
@pytest.mark.parametrize(("ohm", "amperes"), [(1.5, 0.0), (2.5, 0.2), (15.0, 0.25), (2.5, 1.0), (300.0, 0.5)])
def test_the_loaded_outlet_agrees_with_ngspice(ohm, amperes):
    """Cold, at working current, near the current limit, and with a tripped fuse that starves the load: to 0.1 mV."""
    model = cabinet()
    values = nominal_values(model.system.assembly)
    solution = model.loaded(values, ohm, amperes)
    drive = Drive(0.0, 0.05, -amperes, 0.0)
    found = voltages(
        model.system.assembly, model.values(values, ohm)[0], model.system.sources, {"load": drive}, temperature_C=27.0
    )
    assert found is not None
    assert float(model.volts(solution)[0]) == pytest.approx(found["host.acc"], abs=1e-4)


def test_what_stands_in_series_only_adds_its_own_drop():
    """Kirchhoff: at the same current, each ohm more costs one volt for each ampere."""
    model = cabinet()
    values = nominal_values(model.system.assembly)
    solution = model.loaded(values, np.array([1.0, 2.0, 16.0]), 0.2)
    assert model.volts(solution)[0] - model.volts(solution) == pytest.approx([0, 0.2, 3.0], abs=1e-6)
    assert model.amperes(solution) == pytest.approx([0.2, 0.2, 0.2])


def test_a_divider_is_a_divider():
    """10 V behind 1 ohm and a part of 4 ohm into a load that takes all it can, of 5 ohm: 1 A, 5 V (Ohm's law)."""
    model = OutletModel.of(small("V1 a n0 10\nR1 a b 1\nR2 b out 7"), "host.R2", ("host.out", "host.n0"))
    values = nominal_values(model.system.assembly)
    solution = model.loaded(values, 4.0, np.inf, load_ohm=5.0)
    assert float(model.amperes(solution)[0]) == pytest.approx(1.0)
    assert float(model.volts(solution)[0]) == pytest.approx(5.0)


def through_part(cable: str, board: str, ohm: float, share: float) -> float:
    """Current through the part in series with a board plugged in by a cable, A."""
    model = OutletModel.of(joined("cabinet", cable, board), "host.RACC", ENDS)
    values = with_loads(model.system.assembly, share)
    solution = model.loaded(values, ohm, 0.0)
    return abs(float(terminal_currents(solution, model.values(values, ohm))["host.RACC"][0][0]))


class TestReadme:
    """The fuse variant in the README of the demo circuits (ngspice 39): 2.5 ohm cold, tripped at 0.6 W."""

    def test_a_mist_board_at_full_load_is_nothing_to_it(self):
        """0.01 W, and 0.068 A to three hundredths; the loads in the file draw half of what they may."""
        amperes = through_part("mist-lead", "mist", 2.5, 2.0)
        assert amperes == pytest.approx(0.068, rel=0.03)
        assert round(amperes**2 * 2.5, 2) == 0.01

    def test_the_wrong_cable_before_it_trips(self):
        """A vent board on mist-lead draws 1.41 A through it at no load."""
        assert through_part("mist-lead", "vent", 2.5, 0.0) == pytest.approx(1.41, abs=0.01)

    @pytest.mark.parametrize(("ohm", "share"), [(155.0, 0.0), (147.0, 2.0)], ids=["no load", "full load"])
    def test_the_wrong_cable_once_it_has_tripped(self, ohm, share):
        """It rests at 0.6 W with 155 ohm at no load and 147 at full, and 0.06 A are left."""
        amperes = through_part("mist-lead", "vent", ohm, share)
        assert amperes == pytest.approx(0.06, abs=0.005)
        assert amperes**2 * ohm == pytest.approx(0.6, abs=0.005)


class TestRatings:
    """What the parts of the host bear."""

    def test_five_times_hold_burns_the_regulator(self):
        """1 A with the fuse at its least 1.5 ohm takes the regulator and its current limit past their ratings."""
        model, ratings = cabinet(), ratings_of({"host": demo_circuit("cabinet")})
        values = nominal_values(model.system.assembly)
        shares = model.shares(model.loaded(values, 1.5, np.array([0.2, 1.0])), values, np.array([1.5, 1.5]), ratings)
        assert all(share[0] < 0.7 for share in shares.values())
        assert {name for name, share in shares.items() if share[1] > 1} >= {"host.Q1", "host.RQC"}

    def test_the_part_in_series_is_not_among_them(self):
        """Its rating is the data sheet's of whatever is fitted, not that of the resistor in the circuit."""
        model, ratings = cabinet(), ratings_of({"host": demo_circuit("cabinet")})
        values = nominal_values(model.system.assembly)
        assert "host.RACC" not in model.shares(model.loaded(values, 1.5, 0.1), values, 1.5, ratings)


@pytest.mark.parametrize(
    ("part", "says"),
    [
        pytest.param("host.RAC", "no resistor 'host.RAC' in the circuit; did you mean 'host.RACC'", id="unknown"),
        pytest.param("host.Q1", "no resistor 'host.Q1'", id="no resistor"),
    ],
)
def test_another_part_is_refused(part, says):
    """With the nearest name."""
    with pytest.raises(SetupError, match=says):
        OutletModel.of(alone(demo_circuit("cabinet")), part, ENDS)


def test_a_part_that_has_failed_has_no_resistance_to_set():
    """An open part is an open part."""
    assembly = with_fault(alone(demo_circuit("cabinet")), "host.RACC open")
    with pytest.raises(SetupError, match=r"host\.RACC has failed"):
        OutletModel.of(assembly, "host.RACC", ENDS)
