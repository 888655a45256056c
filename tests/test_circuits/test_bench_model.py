"""The circuit as the bench drives it."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.circuits import BenchModel, draw_values, nominal_values, with_fault
from batchtest.errors import SetupError
from batchtest.files.library import load_setup

from .demo import LOAD_POINTS, LOADS, POINTS, ROOT, bench_model, joined


@pytest.mark.parametrize("pin_8", ["host.8", "host.ID"])
def test_ohms_of_a_known_resistor(pin_8):
    """The id resistor reads as what it is."""
    model = BenchModel(
        joined("vent-nest", "vent-lead", "vent"), {"id": (pin_8, "host.7"), "feed": POINTS["feed"]}, "feed", {}
    )
    solution = model.cold(nominal_values(model.assembly), "id", 1e-3, 10.0)
    assert float(solution.between(pin_8, "host.7")[0]) / 1e-3 == pytest.approx(1000.0, rel=1e-6)
    assert float(solution.source_A("supply")[0]) == 0.0


def test_an_open_pair_reads_the_compliance():
    """With its id resistor open the pair reads the compliance voltage, not a thousand million volts."""
    model = BenchModel(with_fault(bench_model().assembly, "cable.RID open"), POINTS, "feed", LOADS)
    solution = model.cold(nominal_values(model.assembly), "id", 1e-3, 10.0)
    assert float(solution.between(*POINTS["id"])[0]) == pytest.approx(10.0, abs=1e-6)


@pytest.mark.parametrize("load_point", range(3))
def test_loads_draw_what_they_are_set_to(load_point):
    """Each channel takes its current from its rail, and the supply delivers the sum and what the board itself needs."""
    model = bench_model()
    amperes = LOAD_POINTS[load_point]
    solution = model.powered(nominal_values(model.assembly), 24.0, 1.0, amperes)
    for channel in LOADS:
        assert float(solution.source_A(f"load.{channel}")[0]) == pytest.approx(-amperes.get(channel, 0.0))
    assert float(solution.source_A("supply")[0]) > sum(amperes.values())


def test_a_supply_in_its_limit_delivers_its_limit():
    """A board that wants more than the limit gets the limit, at less voltage."""
    model = bench_model()
    solution = model.powered(nominal_values(model.assembly), 24.0, 0.02, {})
    assert float(solution.source_A("supply")[0]) == pytest.approx(0.02)
    assert 0 < float(solution.between(*POINTS["feed"])[0]) < 23


def test_all_cold_readings_are_those_taken_one_by_one():
    """Many readings of many boards at once are what each reading gives by itself, in the order that was asked."""
    model = bench_model()
    values = draw_values(model.assembly, [f"VN-{number:04}" for number in range(30)])
    each_C = np.linspace(18.0, 28.0, len(values))
    rows = [(point, current_A, 10.0) for point in POINTS for current_A in (1e-3, 1e-4)] + [("id", 1e-2, 5.0)]
    found = model.cold_all(values, rows, each_C)
    assert found.shape == (len(rows), len(values))
    for row, (point, current_A, compliance_V) in zip(found, rows, strict=True):
        solution = model.cold(values, point, current_A, compliance_V, temperature_C=each_C)
        assert row == pytest.approx(solution.between(*POINTS[point]), abs=1e-7)
    assert found[-1] == pytest.approx(5.0, abs=0.01), "10 mA into 1 kohm gives up at its compliance"


def test_the_id_resistor_reads_the_same_at_any_temperature_and_a_diode_does_not():
    """A cold reading through junctions moves with temperature, one of a resistor alone stays."""
    model = bench_model()
    values = np.repeat(nominal_values(model.assembly), 2, axis=0)
    ohms, diodes = model.cold_all(values, [("id", 1e-3, 10.0), ("analog", 1e-3, 10.0)], np.array([18.0, 28.0]))
    assert ohms[0] == pytest.approx(ohms[1], rel=1e-9)
    assert abs(diodes[0] - diodes[1]) > 1e-3


def test_a_fixture_names_points_input_and_loads():
    """What a fixture file says about points is what its bench model is driven at."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    model = BenchModel.of(bench_model().assembly, setup.fixture)
    assert {name: model.points[name] for name in POINTS} == POINTS
    assert model.loads == LOADS
    feed = model.system.sources[0]
    assert (feed.name, feed.plus, feed.minus) == ("supply", *POINTS["feed"])


def test_a_shorted_rail_starves_its_load():
    """A load on a dead rail draws almost nothing, whatever it is set to."""
    model = BenchModel(with_fault(bench_model().assembly, "RL5 short"), POINTS, "feed", LOADS)
    solution = model.powered(nominal_values(model.assembly), 24.0, 1.0, {2: 0.5})
    assert -float(solution.source_A("load.2")[0]) < 0.1


def test_boards_of_a_batch_read_differently_but_alike():
    """Drawn boards spread by their tolerances about the nominal one."""
    model = bench_model()
    values = draw_values(model.assembly, [f"VN-{number:04}" for number in range(200)])
    logic_V = model.powered(values, 24.0, 1.0, {}).between(*POINTS["logic"])
    assert logic_V.mean() == pytest.approx(5.0, abs=0.01)
    assert logic_V.std() == pytest.approx(0.025, abs=0.005)


def test_currents_may_be_given_board_by_board():
    """A load current for each sample is taken sample by sample."""
    model = bench_model()
    values = np.repeat(nominal_values(model.assembly), 2, axis=0)
    solution = model.powered(values, 24.0, 1.0, {1: np.array([0.0, 0.03])})
    assert solution.source_A("load.1") == pytest.approx([0.0, -0.03])


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        pytest.param(
            lambda m, v: m.cold(v, "logik", 1e-3, 10), r"no point 'logik' .*did you mean 'logic'\?", id="point"
        ),
        pytest.param(
            lambda m, v: m.cold_all(v, [("logik", 1e-3, 10)]), r"no point 'logik' .*did you mean 'logic'\?", id="in-all"
        ),
        pytest.param(lambda m, v: m.powered(v, 24, 1, {7: 1}), r"no load channel 7 .*known: 1, 2, 3", id="channel"),
    ],
)
def test_a_point_or_channel_that_is_not_there_is_refused(ask, message):
    """Names that the fixture does not have get their cure."""
    model = bench_model()
    with pytest.raises(SetupError, match=message):
        ask(model, nominal_values(model.assembly))
