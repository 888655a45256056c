"""Host, cable and board joined into one circuit, and the terminals by which people name its nodes.

Names in the joined circuit carry where they belong: part "board.RZ12", node "host.sg", wire "cable.W6" (named by its
pin at the board end). The terminals of a fixture are "TP3" (a test point of the board), "board.5" and "host.5" (pin 5
of the cable at that end).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from batchtest.circuits.elements import Element, Parameters, element_of, tolerances_of
from batchtest.errors import SetupError, nearest
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile

#: Time constants of a pin that has no probe entry, s.
DEFAULT_SETTLE_S, DEFAULT_BLEED_S = 1e-3, 0.1


@dataclass(frozen=True, slots=True)
class Terminal:
    """Where a needle or a pin sits, and how fast that node settles (powered) and bleeds (not powered), in s."""

    node: str
    settle_s: float
    bleed_s: float


@dataclass(frozen=True, slots=True)
class Assembly:
    """One circuit, ready to be solved.

    `parameters` are the columns of an array of part values; `faults` what was put in by `with_fault`.
    """

    elements: tuple[Element, ...]
    parameters: Parameters
    terminals: Mapping[str, Terminal]
    ground: str
    faults: tuple[str, ...] = ()
    nodes: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        used = {node for element in self.elements for node in element.nodes}
        object.__setattr__(self, "nodes", frozenset(used | {terminal.node for terminal in self.terminals.values()}))

    def node(self, terminal: str) -> str:
        """Node of a terminal ("TP3", "host.5") or of a node's own name ("board.v5"); raises SetupError when unknown."""
        if terminal in self.terminals:
            return self.terminals[terminal].node
        if terminal in self.nodes:
            return terminal
        known = [*self.terminals, *self.nodes]
        raise SetupError(f"no terminal or node {terminal!r} in the circuit; {nearest(terminal, known)}")

    def settle_s(self, terminal: str) -> float:
        """Time constant with which a terminal settles when the board is powered, s."""
        return self._terminal(terminal).settle_s

    def bleed_s(self, terminal: str) -> float:
        """Time constant with which a terminal bleeds down when the board is not powered, s."""
        return self._terminal(terminal).bleed_s

    def with_elements(self, elements: Sequence[Element], fault: str) -> Assembly:
        """The same circuit with other elements, and one more fault to its name."""
        return replace(self, elements=tuple(elements), faults=(*self.faults, fault))

    def _terminal(self, terminal: str) -> Terminal:
        if terminal not in self.terminals:
            raise SetupError(f"no terminal {terminal!r} in the circuit; {nearest(terminal, list(self.terminals))}")
        return self.terminals[terminal]


def join(host: CircuitFile, cable: CableFile, board: CircuitFile) -> Assembly:
    """Join host, cable and board; the ground is the host's pin "n0".

    A wire is a resistor: its length times the resistance per metre, and a contact at either end. A second core from the
    same board pin, as a damaged cable may have, is named with its host pin too, "cable.W1-2". Raises SetupError
    where the cable names a pin that a connector does not have, or the host has no pin "n0".
    """
    parameters = Parameters()
    elements = [*_placed(host, "host", parameters), *_placed(board, "board", parameters)]
    elements += _wires(host, cable, board, parameters)
    terminals = {**_pins(host, "host"), **_pins(board, "board"), **_probes(host, "host."), **_probes(board, "board.")}
    terminals |= _probes(board, "board.", prefix="")
    for wire in cable.wires:
        far, near = terminals[f"board.{wire.board}"], terminals[f"host.{wire.host}"]
        settle_s, bleed_s = max(far.settle_s, near.settle_s), max(far.bleed_s, near.bleed_s)
        terminals[f"host.{wire.host}"] = Terminal(near.node, settle_s, bleed_s)
    return Assembly(tuple(elements), parameters, terminals, _ground(host))


def alone(circuit: CircuitFile) -> Assembly:
    """One circuit by itself, with nothing plugged in, under the name "host"."""
    parameters = Parameters()
    elements = tuple(_placed(circuit, "host", parameters))
    terminals = {**_pins(circuit, "host"), **_probes(circuit, "host.")}
    return Assembly(elements, parameters, terminals, _ground(circuit))


def _placed(circuit: CircuitFile, place: str, parameters: Parameters) -> Iterator[Element]:
    """The cards of a circuit as elements under the name of their place."""
    for card in circuit.netlist.cards:
        part = circuit.parts.part.get(card.name)
        model = circuit.netlist.models[card.model] if card.model else None
        yield element_of(card, model, tolerances_of(part), place, parameters)


def _wires(host: CircuitFile, cable: CableFile, board: CircuitFile, parameters: Parameters) -> Iterator[Element]:
    """Wires and id resistor of the cable."""
    ohms = float(cable.length * cable.per_metre + 2 * cable.contact)
    seen: set[int] = set()
    for wire in cable.wires:
        ends = _pin(board, "board", wire.board), _pin(host, "host", wire.host)
        name = f"cable.W{wire.board}-{wire.host}" if wire.board in seen else f"cable.W{wire.board}"
        seen.add(wire.board)
        yield Element(name, "R", ends, {"value": parameters.add(name, "value", ohms, 0.0)})
    if cable.id_resistor:
        one, other = (_pin(host, "host", pin) for pin in cable.id_resistor.pins)
        value, tolerance = float(cable.id_resistor.value), float(cable.id_resistor.tolerance)
        column = parameters.add("cable.RID", "value", value, tolerance)
        yield Element("cable.RID", "R", (one, other), {"value": column})


def _pin(circuit: CircuitFile, place: str, pin: int) -> str:
    """Node of a connector's pin."""
    ports = circuit.netlist.ports
    if not 1 <= pin <= len(ports):
        raise SetupError(f"the cable goes to pin {pin} of {circuit.name}; its connector has pins 1 to {len(ports)}")
    return f"{place}.{ports[pin - 1]}"


def _pins(circuit: CircuitFile, place: str) -> dict[str, Terminal]:
    """The pins of a connector as terminals, each with the slowest probe of its node."""
    found = {}
    for pin, port in enumerate(circuit.netlist.ports, start=1):
        probes = [probe for probe in circuit.parts.probe.values() if probe.node == port]
        settle_s = max((float(probe.settle) for probe in probes), default=DEFAULT_SETTLE_S)
        bleed_s = max((float(probe.bleed) for probe in probes), default=DEFAULT_BLEED_S)
        found[f"{place}.{pin}"] = Terminal(f"{place}.{port}", settle_s, bleed_s)
    return found


def _probes(circuit: CircuitFile, place: str, prefix: str | None = None) -> dict[str, Terminal]:
    """The test points of a circuit as terminals, named "TP3" with the prefix before."""
    prefix = place if prefix is None else prefix
    return {
        f"{prefix}{name}": Terminal(f"{place}{probe.node}", float(probe.settle), float(probe.bleed))
        for name, probe in circuit.parts.probe.items()
    }


def _ground(host: CircuitFile) -> str:
    if "n0" not in host.netlist.ports:
        ports = ", ".join(host.netlist.ports)
        raise SetupError(f"{host.name} has no pin 'n0' to take as ground (its pins: {ports}); name its return n0")
    return "host.n0"
