"""Faults put into a circuit, each seen by what it does to a small circuit or to the demo's board."""

from __future__ import annotations

import pytest

from batchtest.circuits import System, nominal_values, with_fault
from batchtest.circuits.faults import fault_modes
from batchtest.errors import SetupError
from batchtest.files.parts import MODES

from .demo import demo_circuit, joined, small

DIVIDER = "V1 a n0 10\nR1 a b 1k\nR2 b n0 1k"
DIODE = "V1 a n0 10\nR1 a b 1k\nD1 b n0 M\n.model M D(IS=1e-14)"
FOLLOWER = "VC c n0 10\nVB b n0 5\nRB b x 1k\nQ1 c x e M\nRE e n0 1k\n.model M NPN(IS=1e-14 BF=100)"
GAIN = "V1 a n0 2\nE1 b n0 a n0 0.5\nR1 b n0 1k"


@pytest.mark.parametrize(
    ("cards", "fault", "node", "expected"),
    [
        pytest.param(DIVIDER, "host.R2 open", "b", 10.0, id="R-open"),
        pytest.param(DIVIDER, "host.R2 short", "b", 2e-4, id="R-short"),
        pytest.param(DIVIDER, "host.V1 open", "a", 0.0, id="V-open"),
        pytest.param("I1 n0 a 1m\nR1 a n0 1k", "host.I1 open", "a", 0.0, id="I-open"),
        pytest.param(DIODE, "host.D1 open", "b", 10.0, id="D-open"),
        pytest.param(DIODE, "host.D1 short", "b", 2e-4, id="D-short"),
        pytest.param(DIODE, "host.D1 reversed", "b", 10.0, id="D-reversed"),
        pytest.param(FOLLOWER, "host.Q1 open-b", "e", 0.0, id="Q-open-b"),
        pytest.param(FOLLOWER, "host.Q1 open-e", "e", 0.0, id="Q-open-e"),
        pytest.param(FOLLOWER, "host.Q1 short-ce", "e", 10.0, id="Q-short-ce"),
        pytest.param(FOLLOWER, "host.Q1 short-be", "e", 2.5, id="Q-short-be"),
        pytest.param(FOLLOWER, "host.Q1 short-bc", "x", 10.0, id="Q-short-bc"),
        pytest.param(FOLLOWER, "host.Q1 open-c", "e", 2.14, id="Q-open-c"),
        pytest.param(GAIN, "host.E1 stuck-low", "b", 0.0, id="E-stuck-low"),
        pytest.param(GAIN, "host.E1 stuck-high", "b", 2.0, id="E-stuck-high"),
    ],
)
def test_a_fault_does_what_its_name_says(cards, fault, node, expected):
    """Each way to fail moves a small circuit to where it must."""
    assembly = with_fault(small(cards), fault)
    solution = System(assembly).solve(nominal_values(assembly), {})
    assert float(solution.voltage(f"host.{node}")[0]) == pytest.approx(expected, rel=2e-2, abs=1e-3)
    assert assembly.faults == (fault,)


def test_a_part_without_its_place_is_the_boards():
    """People name a part as it is printed on the board."""
    assembly = with_fault(joined("vent-nest", "vent-lead", "vent"), "DZ12 short")
    assert assembly.faults == ("board.DZ12 short",)


def test_faults_add_up_and_leave_the_columns_of_values_alone():
    """Two faults at once, and a wire's; the same part values can be solved with and without them."""
    good = joined("vent-nest", "vent-lead", "vent")
    bad = with_fault(with_fault(good, "Q5 open-b"), "cable.W6 open")
    assert bad.faults == ("board.Q5 open-b", "cable.W6 open")
    solution = System(bad).solve(nominal_values(good), {})
    assert solution.volts == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("fault", "message"),
    [
        pytest.param("DZ13 short", r"no part 'board\.DZ13' for the fault 'DZ13 short'; did you mean", id="part"),
        pytest.param("DZ12 shorted", r"board\.DZ12 cannot fail as 'shorted'; did you mean 'short'\?", id="mode"),
        pytest.param("DZ12", r"board\.DZ12 cannot fail as ''; known: open, reversed, short", id="no-mode"),
    ],
)
def test_a_fault_that_cannot_be_is_refused(fault, message):
    """An unknown part or way to fail gets the nearest name."""
    with pytest.raises(SetupError, match=message):
        with_fault(joined("vent-nest", "vent-lead", "vent"), fault)


def test_the_parts_files_ask_for_faults_that_can_be_put_in():
    """What a parts file may list as a mode is what a circuit can be given, kind by kind."""
    kinds = {"R": DIVIDER, "V": DIVIDER, "D": DIODE, "Q": FOLLOWER, "E": GAIN, "I": "I1 n0 a 1m\nR1 a n0 1k"}
    for kind, cards in kinds.items():
        element = next(one for one in small(cards).elements if one.name.startswith(f"host.{kind}"))
        assert set(fault_modes(element)) == set(MODES[kind])


@pytest.mark.parametrize("name", ["vent", "mist", "cabinet", "vent-nest"])
def test_every_mode_of_the_demo_can_be_put_in(name):
    """All faults that the demo's parts files name exist."""
    assembly = joined("cabinet", "vent-lead", name) if name in ("vent", "mist") else joined(name, "vent-lead", "vent")
    place = "board" if name in ("vent", "mist") else "host"
    for part, entry in demo_circuit(name).parts.part.items():
        for mode in entry.modes:
            assert with_fault(assembly, f"{place}.{part} {mode}").faults
