"""The demo's circuits against figures computed once with ngspice 39 (shared library, `op`, 27 C, rshunt 1e12)."""

from __future__ import annotations

import pytest

from batchtest.circuits import Drive, LimitedSource, System, alone, join, nominal_values, with_fault

from .demo import bare_host, demo_cable, demo_circuit, joined, with_loads

RAILS = {
    "p24": ("host.p24", "host.n0"),
    "sg": ("host.sg", "host.n0"),
    "cabinet bias": ("host.vneg", "host.sg"),
    "v10": ("host.v10", "host.sg"),
    "acc": ("host.acc", "host.n0"),
    "12 V": ("board.v12", "board.sg"),
    "5 V": ("board.v5", "board.sg"),
    "3.3 V": ("board.v33", "board.sg"),
    "bias": ("board.vneg", "board.sg"),
    "pos": ("board.pos", "board.sg"),
}


@pytest.mark.parametrize(
    ("board", "share", "expected"),
    [
        pytest.param(
            "vent", 0, [24.91, 2.327, -2.263, 10.05, 12.31, 12.13, 5.020, 3.379, -2.244, 2.518], id="vent-none"
        ),
        pytest.param(
            "vent", 1, [24.83, 2.470, -2.404, 10.05, 12.31, 11.95, 5.001, 3.291, -2.390, 2.510], id="vent-half"
        ),
        pytest.param(
            "mist", 0, [24.87, 2.396, -2.333, 10.05, 12.12, 12.09, 5.122, 3.399, -2.329, 2.337], id="mist-none"
        ),
        pytest.param(
            "mist", 1, [24.76, 2.476, -2.412, 10.05, 11.65, 12.08, 4.960, 3.352, -2.406, 2.319], id="mist-half"
        ),
    ],
)
def test_rails_on_the_right_cable(board, share, expected):
    """With the right cable every rail stands where it was computed before, without load and at half of it."""
    assembly = joined("cabinet", f"{board}-lead", board)
    solution = System(assembly).solve(with_loads(assembly, share), {})
    for (plus, minus), volts in zip(RAILS.values(), expected, strict=True):
        assert float(solution.between(plus, minus)[0]) == pytest.approx(volts, rel=5e-4, abs=1.1e-3)


def test_the_wrong_cable_burns_while_the_boards_rails_look_right():
    """A vent on the mist's lead loads the accessory outlet far beyond its limiter, and its own rails do not show it."""
    solutions = {}
    for cable in ("vent-lead", "mist-lead"):
        assembly = joined("cabinet", cable, "vent")
        solutions[cable] = System(assembly).solve(with_loads(assembly, 0), {})
    for plus, minus in (RAILS["12 V"], RAILS["5 V"], RAILS["3.3 V"]):
        right, wrong = (float(solution.between(plus, minus)[0]) for solution in solutions.values())
        assert wrong == pytest.approx(right, abs=0.03)
    limiter_W = float(solutions["mist-lead"].between("host.acc12", "host.acc")[0]) ** 2 / 15
    assert limiter_W == pytest.approx(4.50, abs=0.01)


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        pytest.param("host.DS1 short", {"sg": 1.652, "cabinet bias": -1.60, "v10": 10.06, "pos": 2.50}, id="short"),
        pytest.param("host.DS1 open", {"sg": 22.63, "cabinet bias": -22.37, "v10": -0.64, "12 V": 0.83}, id="open"),
        pytest.param(
            "host.DS1 reversed", {"sg": 22.63, "cabinet bias": -22.37, "v10": -0.64, "p24": 25.00}, id="reversed"
        ),
    ],
)
def test_a_fault_of_the_diode_string(fault, expected):
    """One diode of the host's signal-ground string shorted, open or reversed moves the rails as computed before."""
    assembly = with_fault(joined("cabinet", "vent-lead", "vent"), fault)
    solution = System(assembly).solve(nominal_values(assembly), {})
    for rail, volts in expected.items():
        assert float(solution.between(*RAILS[rail])[0]) == pytest.approx(volts, rel=5e-4, abs=6e-3)


def test_a_cabinet_alone_with_its_string_open():
    """With nothing plugged in, an open string lets the signal ground rise to 20.74 V."""
    assembly = with_fault(alone(demo_circuit("cabinet")), "host.DS2 open")
    solution = System(assembly).solve(nominal_values(assembly), {})
    assert float(solution.voltage("host.sg")[0]) == pytest.approx(20.74, abs=6e-3)
    assert float(solution.between("host.vneg", "host.sg")[0]) == pytest.approx(-20.45, abs=6e-3)


@pytest.mark.parametrize(
    ("board", "cable", "plus", "minus", "amperes", "expected_ohm"),
    [
        pytest.param("vent", "mist-lead", 5, 6, 1e-4, 0.7, id="vent-on-mist-lead"),
        pytest.param("vent", "vent-lead", 7, 1, 1e-3, 723.2, id="vent-on-vent-lead"),
        pytest.param("vent", "long-lead", 7, 1, 1e-3, 724.5, id="vent-on-long-lead"),
        pytest.param("mist", "mist-lead", 6, 7, 1e-4, 1644, id="mist-on-mist-lead"),
        pytest.param("mist", "vent-lead", 5, 7, 1e-3, 564.8, id="mist-on-vent-lead"),
        pytest.param("mist", "long-lead", 5, 7, 1e-3, 566.0, id="mist-on-long-lead"),
        pytest.param("vent", "vent-lead", 8, 7, 1e-3, 1000.0, id="id-of-vent-lead"),
        pytest.param("mist", "mist-lead", 8, 7, 1e-3, 2200.0, id="id-of-mist-lead"),
        pytest.param("vent", "long-lead", 8, 7, 1e-3, 4700.0, id="id-of-long-lead"),
    ],
)
def test_cold_readings_at_the_open_end(board, cable, plus, minus, amperes, expected_ohm):
    """From the host's end, cable and board read as computed before."""
    ohms = _cold_V(board, cable, f"host.{plus}", f"host.{minus}", amperes) / amperes
    assert ohms == pytest.approx(expected_ohm, rel=1e-4, abs=0.06)


@pytest.mark.parametrize(("board", "plus", "minus"), [("vent", "host.5", "host.6"), ("mist", "host.6", "host.7")])
def test_an_open_pair_reads_the_compliance_voltage(board, plus, minus):
    """A test current that finds no way gives up at 10 V instead of rising without end."""
    assert _cold_V(board, "vent-lead", plus, minus, 1e-3) == pytest.approx(10.0, abs=1e-6)


def _cold_V(board: str, cable: str, plus: str, minus: str, amperes: float) -> float:
    assembly = join(bare_host(), demo_cable(cable), demo_circuit(board))
    system = System(assembly, [LimitedSource("meter", plus, minus)])
    solution = system.solve(nominal_values(assembly), {"meter": Drive(10.0, 1.0, 0.0, amperes)})
    return float(solution.between(plus, minus)[0])


@pytest.mark.parametrize("board", ["vent", "mist"])
@pytest.mark.parametrize("host", ["vent-nest", "bare"])
def test_every_pair_of_pins_has_a_cold_reading(board, host):
    """Nets held by nothing but leakage, through wires and low resistors, settle like any other."""
    circuit = bare_host() if host == "bare" else demo_circuit(host)
    assembly = join(circuit, demo_cable("vent-lead"), demo_circuit(board))
    pairs = [(f"host.{plus}", f"host.{minus}") for plus in range(1, 9) for minus in range(1, 9) if plus != minus]
    system = System(assembly, [LimitedSource(f"{plus}>{minus}", plus, minus) for plus, minus in pairs])
    for source in system.sources:
        solution = system.solve(nominal_values(assembly), {source.name: Drive(10.0, 1.0, 0.0, 1e-4)})
        assert 0 <= float(solution.between(source.plus, source.minus)[0]) <= 10 + 1e-6
        assert float(solution.source_A(source.name)[0]) >= -1e-15


def test_a_dead_net_keeps_the_digits_of_its_wires():
    """Two wires and the board's link, with everything else blocking, read 730 mohm to a microohm."""
    volts = _cold_V("vent", "mist-lead", "host.5", "host.6", 1e-4)
    assert volts / 1e-4 == pytest.approx(0.73, abs=1e-6)
