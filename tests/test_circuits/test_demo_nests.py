"""The demo's nests and limits: what their points reach, what their cold checks find, and that healthy boards pass."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from batchtest.circuits import Assembly, BenchModel, draw_all, nominal_values, with_fault
from batchtest.circuits.currents import ratings_of, stresses
from batchtest.files.library import Setup, load_setup
from batchtest.files.limits import load_points
from batchtest.nouns import Limit, Measurand, Measurement
from batchtest.procedure import derive
from batchtest.procedure.actions import CheckCold
from batchtest.procedure.rails import bounds, load_currents

from .demo import ROOT, demo_circuit, joined

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

NESTS = ("vent-nest", "mist-nest")
CLIMATE_C = (18.0, 28.0)
BOARDS = 64
DIODE_A, DIODE_COMPLIANCE_V = 1e-3, 6.0

#: Each rail shorted to its return by its own part, and the check that must be named as the cause.
SHORTED = (
    pytest.param("vent-nest", "RL12 short", "analog-short", id="vent-12V"),
    pytest.param("vent-nest", "RL5 short", "logic-short", id="vent-5V"),
    pytest.param("vent-nest", "RL33 short", "core-short", id="vent-3V3"),
    pytest.param("vent-nest", "DTVS short", "supply-short", id="vent-24V"),
    pytest.param("mist-nest", "DZ12 short", "analog-short", id="mist-12V"),
    pytest.param("mist-nest", "RL5 short", "logic-short", id="mist-5V"),
    pytest.param("mist-nest", "RL33 short", "core-short", id="mist-3V3"),
    pytest.param("mist-nest", "RHT short", "accessory-short", id="mist-accessory"),
    pytest.param("mist-nest", "RFL short", "flow-short", id="mist-flow"),
    pytest.param("mist-nest", "DTVS short", "supply-short", id="mist-24V"),
)


@cache
def setup_of(nest: str) -> Setup:
    """A nest on the simulated bench."""
    return load_setup(ROOT, nest, "simulated")


@cache
def checks_of(nest: str) -> tuple[Measurement, ...]:
    """The cold checks of the board that a nest takes, as the procedure has them."""
    (action,) = [each for each in derive(setup_of(nest)).gate if isinstance(each, CheckCold)]
    return action.measurements


def circuit_of(nest: str, fault: str = "") -> Assembly:
    """A nest with its own cable and board, and a fault perhaps."""
    setup = setup_of(nest)
    good = joined(setup.fixture.circuit, setup.fixture.cable, setup.board)
    return with_fault(good, fault) if fault else good


def row_of(nest: str, check: Measurement) -> tuple[str, float, float]:
    """Point, test current (A) and compliance (V) of a cold check."""
    if check.measurand is Measurand.DIODE:
        return check.point, DIODE_A, DIODE_COMPLIANCE_V
    rows = setup_of(nest).bench.meter.accuracy.ohms
    (row,) = [row for row in rows if float(row.range) == check.range]
    return check.point, float(row.current), float(row.compliance)


def cold_values(nest: str, assembly: Assembly, values: np.ndarray, temperature_C: float) -> dict[str, np.ndarray]:
    """What every cold check reads, base unit, (samples,) by name."""
    checks, rows = checks_of(nest), [row_of(nest, check) for check in checks_of(nest)]
    volts = BenchModel.of(assembly, setup_of(nest).fixture).cold_all(values, rows, temperature_C)
    scale = [1.0 if check.measurand is Measurand.DIODE else row[1] for check, row in zip(checks, rows, strict=True)]
    return {check.name: column / each for check, column, each in zip(checks, volts, scale, strict=True)}


def inside(values: np.ndarray, limit: Limit | None) -> np.ndarray:
    """Which values are inside a limit."""
    assert limit is not None
    above = -np.inf if limit.lower is None else limit.lower
    return (values >= above) & (values <= (np.inf if limit.upper is None else limit.upper))


def failing(nest: str, fault: str, temperature_C: float) -> list[str]:
    """The cold checks that a board with nominal parts and one fault fails, in their order."""
    assembly = circuit_of(nest, fault)
    found = cold_values(nest, assembly, nominal_values(assembly), temperature_C)
    return [check.name for check in checks_of(nest) if not inside(found[check.name], check.limit).all()]


def points_V(nest: str, cable: str, fault: str = "") -> dict[str, float]:
    """Voltage at every point of a nest with 0.1 mA through it, less the point of the id resistor."""
    setup = setup_of(nest)
    assembly = joined(setup.fixture.circuit, cable, setup.board)
    assembly = with_fault(assembly, fault) if fault else assembly
    names = [name for name in setup.fixture.points if name != setup.fixture.identify]
    model = BenchModel.of(assembly, setup.fixture)
    volts = model.cold_all(nominal_values(assembly), [(name, 1e-4, 10.0) for name in names])
    return dict(zip(names, volts[:, 0], strict=True))


@pytest.mark.parametrize("nest", NESTS)
@pytest.mark.parametrize("wire", range(1, 8))
def test_every_wire_of_the_lead_is_touched_by_a_cold_reading(nest: str, wire: int):
    """A wire that is cut changes the reading of some point by more than a tenth."""
    cable = setup_of(nest).fixture.cable
    whole, cut = points_V(nest, cable), points_V(nest, cable, f"cable.W{wire} open")
    assert [name for name in whole if abs(cut[name] - whole[name]) > 0.1 * abs(whole[name])]


@pytest.mark.parametrize("nest", NESTS)
def test_both_polarities_of_every_rail_are_read_cold(nest: str):
    """Each rail has a point with plus and minus swapped, and a cold check at either."""
    setup = setup_of(nest)
    points = setup.fixture.points
    checked = {(points[check.point].plus, points[check.point].minus) for check in setup.limits.cold.values()}
    for rail in setup.limits.rails:
        ends = points[rail].plus, points[rail].minus
        assert {ends, ends[::-1]} <= checked, rail


@pytest.mark.parametrize("fault", ["", "RL12 short", "DTVS short", "RLK open", "DZP short"])
def test_the_spare_pin_is_open_with_the_right_lead_whatever_the_board_is(fault: str):
    """Host pin 6 reads the compliance voltage with vent-lead, and 0.7 ohm with mist-lead on a good board."""
    assert points_V("vent-nest", "vent-lead", fault)["spare"] == pytest.approx(10.0, abs=1e-3)
    assert points_V("vent-nest", "mist-lead")["spare"] / 1e-4 == pytest.approx(0.73, abs=0.01)


@pytest.mark.parametrize(("nest", "board_pin_6"), [("vent-nest", "spare"), ("mist-nest", "accessory-diode")])
def test_the_look_alike_leads_are_far_apart_at_the_differing_wire(nest: str, board_pin_6: str):
    """What is low with one lead is at least four times as high with the other."""
    readings_V = sorted(points_V(nest, cable)[board_pin_6] for cable in ("vent-lead", "mist-lead"))
    assert readings_V[1] > 4 * readings_V[0]


def test_crossed_drives_are_seen_by_the_id_resistor_alone():
    """long-lead reads like vent-lead at every other point within what 8 m more of wire and needles explain."""
    right, crossed = (points_V("vent-nest", cable) for cable in ("vent-lead", "long-lead"))
    assert max(abs(crossed[name] - volts) for name, volts in right.items()) / 1e-4 < 5


def test_a_silicon_diode_drops_half_a_volt_and_more():
    """The diode against a reversed feed drops 0.5 to 0.7 V at 1 mA (common practice, no source), some 2 mV/K less."""
    assembly = circuit_of("vent-nest")
    cool_V, warm_V = (
        float(cold_values("vent-nest", assembly, nominal_values(assembly), each)["input-diode"][0])
        for each in CLIMATE_C
    )
    assert 0.5 < warm_V < cool_V < 0.7
    assert (cool_V - warm_V) / 10 == pytest.approx(2e-3, abs=0.3e-3)


@pytest.mark.parametrize("nest", NESTS)
@pytest.mark.parametrize("temperature_C", CLIMATE_C)
def test_no_healthy_board_fails_a_cold_check(nest: str, temperature_C: float):
    """Boards, nests and cables drawn from their tolerances stay inside every cold limit, cool and warm."""
    assembly = circuit_of(nest)
    found = cold_values(nest, assembly, draw_all(assembly, BOARDS), temperature_C)
    assert [check.name for check in checks_of(nest) if not inside(found[check.name], check.limit).all()] == []


@pytest.mark.parametrize("temperature_C", CLIMATE_C)
@pytest.mark.parametrize(("nest", "fault", "first"), SHORTED)
def test_a_shorted_rail_is_found_cold_and_named(nest: str, fault: str, first: str, temperature_C: float):
    """Whatever else a short drags down, the first check to fail is the one of the shorted rail."""
    assert failing(nest, fault, temperature_C)[0] == first


@pytest.mark.parametrize("temperature_C", CLIMATE_C)
@pytest.mark.parametrize(
    ("fault", "check"),
    [
        pytest.param("DZ12 short", "bias-drop", id="zener-of-a-rail"),
        pytest.param("DZ12 short", "feed-drop", id="the-same-at-the-feed"),
        pytest.param("DREV open", "input-diode", id="input-diode-open"),
        pytest.param("DREV short", "input-diode", id="input-diode-short"),
        pytest.param("DZDA open", "drive-a-clamp", id="clamp-open"),
        pytest.param("QB short-ce", "drive-b-clamp", id="drive-short"),
        pytest.param("DTVS open", "bias-drop", id="surge-diode-open"),
        pytest.param("Q33 short-ce", "logic-core", id="rail-to-rail"),
        pytest.param("Q5 open-e", "analog-logic", id="regulator-open"),
        pytest.param("RVN short", "bias-return", id="bias-resistor"),
        pytest.param("ROUT short", "position-output", id="output-resistor"),
    ],
)
def test_a_fault_of_a_vent_shows_at_its_own_check(fault: str, check: str, temperature_C: float):
    """Shorts and opens of what the checks are named for are seen from 18 to 28 C."""
    assert check in failing("vent-nest", fault, temperature_C)


@pytest.mark.parametrize("nest", NESTS)
def test_half_of_all_single_faults_of_a_board_are_found_cold(nest: str):
    """Of every third fault of its parts; the rails' shorts to return alone are a fifth of a vent's faults."""
    parts = demo_circuit(setup_of(nest).board).parts.part
    faults = [f"{name} {mode}" for name, part in parts.items() for mode in part.modes][::3]
    assert len([fault for fault in faults if failing(nest, fault, 23.0)]) >= 0.5 * len(faults)


@pytest.mark.parametrize("temperature_C", [18.0, 27.0, 28.0])
def test_a_healthy_mist_holds_its_rails_and_overloads_nothing(temperature_C: float):
    """Drawn boards at every load point: inside every window, and no part of board or nest above 70 % of its rating."""
    setup, assembly = setup_of("mist-nest"), circuit_of("mist-nest")
    model, values = BenchModel.of(assembly, setup.fixture), draw_all(assembly, BOARDS)
    ratings = ratings_of({"host": demo_circuit("mist-nest"), "board": demo_circuit("mist")})
    for index in range(load_points(setup.limits)):
        currents_A = load_currents(setup.limits, setup.fixture, index)
        solution = model.powered(values, 24.0, 1.0, currents_A, temperature_C=temperature_C)
        for rail, limit in setup.limits.rails.items():
            assert inside(solution.between(*model.points[rail]), bounds(limit, index)).all(), (rail, index)
        borne = stresses(solution, values)
        assert max(float(borne[part].share(rating).max()) for part, rating in ratings.items()) < 0.7
