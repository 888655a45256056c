"""Circuits joined over a cable, and the names of their terminals."""

from __future__ import annotations

import pytest

from batchtest.circuits import alone, join
from batchtest.errors import SetupError

from .demo import circuit, demo_cable, demo_circuit, joined, straight_cable


@pytest.mark.parametrize(
    ("terminal", "node"),
    [
        ("TP3", "board.v5"),
        ("board.TP3", "board.v5"),
        ("host.5", "host.sg"),
        ("board.6", "board.sg2"),
        ("host.SD1", "host.sd1"),
        ("board.fb5", "board.fb5"),
        ("host.6", "host.acc"),
    ],
)
def test_terminals_name_nodes(terminal, node):
    """Test points, pins at either end, probes of the host and nodes by their own name are all found."""
    assert joined("vent-nest", "vent-lead", "vent").node(terminal) == node


@pytest.mark.parametrize(
    ("terminal", "message"),
    [
        pytest.param("TP33", r"no terminal or node 'TP33' in the circuit; did you mean 'TP3'\?", id="misspelt"),
        pytest.param("host.9", r"no terminal or node 'host\.9' in the circuit; did you mean 'host", id="no-such-pin"),
    ],
)
def test_an_unknown_terminal_gets_the_nearest_name(terminal, message):
    """A terminal that is not there is refused with its cure."""
    with pytest.raises(SetupError, match=message):
        joined("vent-nest", "vent-lead", "vent").node(terminal)


def test_time_constants_come_from_the_test_points():
    """A terminal settles as its test point does; a pin of the host no faster than the board's pin it is wired to."""
    assembly = joined("vent-nest", "vent-lead", "vent")
    assert assembly.settle_s("TP3") == pytest.approx(0.008)
    assert assembly.bleed_s("TP3") == pytest.approx(0.25)
    assert assembly.settle_s("host.2") == pytest.approx(0.010)
    with pytest.raises(SetupError, match=r"no terminal 'TP0' in the circuit"):
        assembly.settle_s("TP0")


@pytest.mark.parametrize(
    ("cable", "pin", "other"), [("vent-lead", 6, "host.sg"), ("mist-lead", 6, "host.acc"), ("long-lead", 1, "host.kb")]
)
def test_a_cable_decides_which_pins_meet(cable, pin, other):
    """The same board meets other pins of the host on another cable."""
    assembly = joined("cabinet", cable, "vent")
    ends = {frozenset(element.nodes) for element in assembly.elements if element.name.startswith("cable.W")}
    assert frozenset({assembly.node(f"board.{pin}"), other}) in ends


@pytest.mark.parametrize(("cable", "ohms"), [("vent-lead", 0.34), ("long-lead", 0.98)])
def test_a_wire_is_its_length_and_two_contacts(cable, ohms):
    """4 m at 80 mohm/m and two contacts of 10 mohm make 340 mohm."""
    parameters = joined("cabinet", cable, "vent").parameters
    assert parameters.nominal[parameters.parts.index("cable.W2")] == pytest.approx(ohms)


def test_the_id_resistor_lies_between_its_pins_at_the_host():
    """The hood's resistor has the value and tolerance of the cable's file."""
    assembly = joined("cabinet", "mist-lead", "vent")
    column = assembly.parameters.parts.index("cable.RID")
    assert assembly.parameters.nominal[column] == pytest.approx(2200)
    assert assembly.parameters.tolerance[column] == pytest.approx(0.01)
    (element,) = [element for element in assembly.elements if element.name == "cable.RID"]
    assert element.nodes == ("host.id", "host.n0")


def test_a_cable_to_a_pin_that_is_not_there_is_refused():
    """A wire needs a pin at both ends."""
    two = circuit("R1 a n0 1k", "a n0")
    with pytest.raises(SetupError, match=r"the cable goes to pin 3 of small; its connector has pins 1 to 2"):
        join(two, straight_cable([(1, 3)]), two)


def test_a_host_without_a_return_is_refused():
    """The ground of all is the host's pin n0."""
    with pytest.raises(
        SetupError, match=r"small has no pin 'n0' to take as ground \(its pins: a, b\); name its return"
    ):
        alone(circuit("R1 a b 1k", "a b"))


def test_a_circuit_alone_is_the_host():
    """Nothing plugged in: the names are the host's."""
    assembly = alone(demo_circuit("cabinet"))
    assert assembly.node("host.2") == "host.p24"
    assert assembly.faults == ()


def test_pins_without_a_probe_have_a_time_constant_too():
    """A pin that no probe describes settles in a millisecond."""
    assembly = join(circuit("", "a n0"), straight_cable([(1, 1)]), circuit("R1 a n0 1k", "a n0"))
    assert assembly.settle_s("board.1") == pytest.approx(1e-3)


def test_the_demo_cables_and_circuits_join():
    """Every demo board fits every demo cable and both hosts."""
    for host in ("cabinet", "vent-nest"):
        for cable in ("vent-lead", "mist-lead", "long-lead"):
            for board in ("vent", "mist"):
                assembly = join(demo_circuit(host), demo_cable(cable), demo_circuit(board))
                assert {"TP1", "host.8", "board.8"} <= set(assembly.terminals)
