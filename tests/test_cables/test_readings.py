"""Cold readings: what the meter's test current makes of a circuit, and when it says nothing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from test_circuits.demo import circuit, demo_cable, demo_circuit, straight_cable

from batchtest.cables.readings import ColdBench, ColdCircuit, ColdReading, Expected, Harness
from batchtest.circuits import BenchModel, join, nominal_values
from batchtest.files.bench import BenchFile
from batchtest.files.circuit import CircuitFile
from batchtest.files.library import load_bench
from batchtest.nouns import Measurand
from test_cables.bench_views import ROOT, bare_fixture, open_end

BENCH: BenchFile = load_bench(ROOT, "simulated")
FIXTURE = bare_fixture({"across": (1, 7), "id": (8, 7), "string": (5, 7), "into-sg": (7, 5)})
COLD = ColdBench(BENCH, FIXTURE)
PORTS = "ka p24 kb pos sg acc n0 id"
#: A lead of 0.1 ohm a wire.
LEAD = straight_cable([(1, 1), (2, 2), (7, 7)])


def reading(point: str, range_: float, unit: str = "ohm") -> ColdReading:
    """One way to read a point, by its range."""
    return next(one for one in COLD.readings(point) if (one.range, one.unit) == (range_, unit))


def board(cards: str) -> CircuitFile:
    """A board with the demo's pins."""
    return circuit(cards, PORTS)


def expected(cards: str, one: ColdReading) -> Expected:
    """What a nominal board reads with nothing else around it."""
    return ColdCircuit.nominal(join(open_end(), LEAD, board(cards)), FIXTURE).expected(one)


def test_every_range_of_ohms_and_diode_is_a_way_to_read_a_point():
    """Ranges of ohms rise, the diode row comes last, each with the current of its row."""
    found = list(COLD.readings("across"))
    ohms = [one for one in found if one.measurand is Measurand.RESISTANCE]
    assert [one.range for one in ohms] == sorted(float(row.range) for row in BENCH.meter.accuracy.ohms)
    assert found[len(ohms) :] == [reading("across", 5.0, "V")]
    assert found[-1].measurand is Measurand.DIODE
    assert [one.current_A for one in found] == [
        float(row.current) for row in (*BENCH.meter.accuracy.ohms, *BENCH.meter.accuracy.diode)
    ]


@pytest.mark.parametrize(
    ("range_", "unit", "compliance_V", "per_volt", "reach"),
    [
        pytest.param(1e3, "ohm", 10.0, 1e3, 1e3, id="ohms"),
        pytest.param(1e8, "ohm", 10.0, 2e6, 19.98e6, id="current-gives-up-first"),
        pytest.param(5.0, "V", 6.0, 1.0, 5.0, id="diode"),
    ],
)
def test_a_reading_knows_what_it_can_show(range_, unit, compliance_V, per_volt, reach):
    """A volt is that many ohms; a range is not reached where its current gives up before."""
    one = reading("across", range_, unit)
    assert (one.compliance_V, one.per_volt) == pytest.approx((compliance_V, per_volt))
    assert one.reach == pytest.approx(reach, rel=1e-3)


@pytest.mark.parametrize(
    ("ohms", "range_", "shown"),
    [
        pytest.param(50, 100, 50.2, id="on-range"),
        pytest.param(50, 1e6, 50.2, id="on-a-high-range"),
        pytest.param(130, 100, None, id="beyond-the-range"),
        pytest.param(30e6, 1e8, None, id="beyond-the-compliance"),
    ],
)
def test_a_resistor_reads_itself_and_two_wires(ohms, range_, shown):
    """Its own value and 0.1 ohm for each wire, or over range, which is certain too."""
    found = expected(f"R1 ka n0 {ohms}", reading("across", range_))
    assert found.certain
    assert found.sigma == 0.0
    if shown is None:
        assert found.value is None
    else:
        assert found.value == pytest.approx(shown, abs=0.001 * shown)


@pytest.mark.parametrize("ohms", [101, 119])
def test_just_above_its_range_a_meter_may_say_either(ohms):
    """Over range is certain only beyond 1.2 times the range (common practice, no source): until there nothing is."""
    found = expected(f"R1 ka n0 {ohms}", reading("across", 100))
    assert not found.certain
    assert found.value == pytest.approx(ohms, abs=0.5)


def spread(*ohms: float) -> ColdCircuit:
    """Boards of one resistor, each with its own value."""
    assembly = join(open_end(), LEAD, board("R1 ka n0 1k"))
    values = np.repeat(nominal_values(assembly), len(ohms), axis=0)
    values[:, assembly.parameters.parts.index("board.R1")] = ohms
    return ColdCircuit(BenchModel.of(assembly, FIXTURE), values, np.full(len(ohms), 23.0))


def test_drawn_boards_give_mean_and_standard_deviation():
    """By their definition, with one taken off the count."""
    found = spread(10.0, 20.0, 60.0).expected(reading("across", 100))
    assert found.certain
    assert found.value == pytest.approx(30.2)
    assert found.sigma == pytest.approx(np.std([10, 20, 60], ddof=1))


@pytest.mark.parametrize(
    ("ohms", "range_"),
    [
        pytest.param((90, 500), 100, id="beyond-the-range"),
        pytest.param((15e6, 40e6), 1e8, id="beyond-the-compliance"),
    ],
)
def test_boards_of_which_some_are_over_range_say_nothing(ohms, range_):
    """One reading cannot be expected where one board has a value and another has none."""
    assert not spread(*ohms).expected(reading("across", range_)).certain
    assert spread(ohms[0], ohms[0]).expected(reading("across", range_)).certain


def test_solving_at_once_is_solving_one_by_one():
    """What is asked for in advance is what would be found later, at every point and current, and is found once."""
    harness = Harness(demo_circuit("vent-nest"), demo_circuit("vent"), COLD, drawn=3)
    every = harness.every()
    at_once = harness.circuit("vent-lead", demo_cable("vent-lead")).solve(every)
    alone = replace(at_once, _volts={})
    for one in every[:: len(every) // 6]:
        assert at_once.volts(one) == pytest.approx(alone.volts(one), rel=1e-6, abs=1e-9)
        assert at_once.volts(one) is at_once.volts(one)
    assert len(every) == len(FIXTURE.points) * (len(BENCH.meter.accuracy.ohms) + 1)


def test_a_harness_keeps_the_cables_of_its_library_only():
    """A cable by its name is drawn once; a faulty one is a single nominal board each time."""
    harness = Harness(open_end(), board("R1 ka n0 50"), COLD, drawn=4)
    assert harness.circuit("lead", LEAD) is harness.circuit("lead", LEAD)
    assert harness.circuit("lead", LEAD).values.shape[0] == 4
    assert set(harness.circuit("lead", LEAD).temperature_C) == {18.0, 23.0, 28.0}
    assert harness.once(LEAD) is not harness.once(LEAD)
    assert harness.once(LEAD).values.shape[0] == 1
    cut = straight_cable([(2, 2), (7, 7)])
    both = harness.expected({"lead": LEAD, "cut": cut}, reading("across", 100))
    assert both["lead"].value == pytest.approx(50.2)
    assert both["cut"].value is None
    assert harness.points == tuple(FIXTURE.points)


@pytest.mark.parametrize("name", ["vent-lead", "mist-lead", "long-lead"])
@pytest.mark.parametrize("mated", [False, True], ids=["open", "cabinet-mated"])
def test_the_id_resistor_reads_its_value_mated_or_not(name, mated, cold_reference):
    """Nothing of a cabinet hangs on its pin 8, so that 1000, 2200 and 4700 ohm are read with it as without it."""
    host = dead_cabinet() if mated else open_end()
    found = ColdCircuit.nominal(join(host, demo_cable(name), demo_circuit("vent")), FIXTURE)
    value = found.expected(reading("id", 1e4)).value
    assert value == pytest.approx(cold_reference["id"]["ohms"][name], abs=0.1)


def dead_cabinet() -> CircuitFile:
    """The demo's cabinet with its mains off."""
    cabinet = demo_circuit("cabinet")
    cards = tuple(replace(card, value=0.0) if card.name == "VSEC" else card for card in cabinet.netlist.cards)
    return replace(cabinet, netlist=replace(cabinet.netlist, cards=cards))


def string_drop(temperature_C: float) -> float:
    """The drop of the nest's three diodes in series at the diode test's 1 mA, V."""
    assembly = join(demo_circuit("vent-nest"), straight_cable([(7, 7)]), demo_circuit("vent"))
    warm = ColdCircuit(BenchModel.of(assembly, FIXTURE), nominal_values(assembly), np.array([temperature_C]))
    value = warm.expected(reading("string", 5.0, "V")).value
    assert value is not None
    return value


def test_three_silicon_diodes_in_series_drop_about_two_volts():
    """Common practice, no source; and about 2 mV less a junction and kelvin."""
    assert string_drop(23.0) == pytest.approx(2.0, abs=0.3)
    assert (string_drop(28.0) - string_drop(18.0)) / 10 / 3 == pytest.approx(-2e-3, abs=0.5e-3)


def test_needles_add_their_contact_to_ohms_and_to_a_drop():
    """5 ohm of contact are 5 ohm on every range of ohms, and 5 mV at the diode test's 1 mA."""
    assert COLD.contact(reading("across", 1e6)) == pytest.approx(5.0)
    assert COLD.contact(reading("across", 5.0, "V")) == pytest.approx(5e-3)


def test_the_meters_own_uncertainty_is_that_of_its_data_sheet():
    """Half-width of the row, taken as rectangular, and the noise of a mean of three, k = 2 (JCGM 100:2008, 4.3.7)."""
    one = reading("across", 1e4)
    half = 0.012e-2 * 1000 + 0.0012e-2 * 1e4
    assert COLD.half_width(one, 1000.0) == pytest.approx(half)
    assert COLD.instrument_U(one, 1000.0) == pytest.approx(2 * np.hypot(half / 3**0.5, 0.03 / 3**0.5))


def test_a_hot_bench_is_less_sure():
    """Beyond 5 K from calibration the data sheet's temperature coefficient comes in; with no ambient said, not."""
    hot = ColdBench(BENCH.model_copy(update={"ambient": Decimal(33)}), FIXTURE)
    unsaid = ColdBench(BENCH.model_copy(update={"ambient": None}), FIXTURE)
    one = reading("across", 1e4)
    assert hot.half_width(one, 1000.0) > COLD.half_width(one, 1000.0) == unsaid.half_width(one, 1000.0)
