"""An assembly's elements as lists of bare elements between numbered unknowns.

A transistor's inner resistances become resistors with a node behind them. A diode's series resistance does not: it is
folded into the diode's own law, since a node that hangs on half an ohm on one side and a blocking junction on the other
would cost the digits that a net held by leakage needs.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.elements import Column, Element

Pair = tuple[int, int]
#: Collector, base, emitter; +1 for NPN and -1 for PNP.
Legs = tuple[int, int, int, float]

#: Resistors up to this are wires and shorts. As conductances they would drown the leaks that hold a dead net.
LINK_OHM = 1.0
DIODE_KEYS = ("IS", "N", "BV", "IBV", "RS")
TRANSISTOR_KEYS = ("IS", "BF", "BR", "NF", "NR", "VAF")


@dataclass(slots=True)
class Flat:
    """Bare elements: the unknowns they lie between (-1 is ground) and the places of their values.

    A value's place is its column in the array of part values; fixed numbers follow those columns in the order of
    `fixed`. `names` are the nodes in the order of their unknowns; inner nodes of parts have a "#" in their name.
    `links` are resistors so low that their current is taken as an unknown; `shunts` are the nodes that carry the shunt
    of a diode's folded inner node. `branch_names` are those of V, E and links, by kind.
    """

    names: list[str] = field(default_factory=list)
    places: dict[str, int] = field(default_factory=dict)
    fixed: list[float] = field(default_factory=list)
    resistors: list[tuple[Pair, int]] = field(default_factory=list)
    links: list[tuple[Pair, int]] = field(default_factory=list)
    voltages: list[tuple[Pair, int]] = field(default_factory=list)
    currents: list[tuple[Pair, int]] = field(default_factory=list)
    gains: list[tuple[Pair, Pair, int]] = field(default_factory=list)
    shunts: list[int] = field(default_factory=list)
    branch_names: dict[str, list[str]] = field(default_factory=lambda: {"V": [], "E": [], "R": []})
    diode_names: list[str] = field(default_factory=list)
    transistor_names: list[str] = field(default_factory=list)
    diodes: list[tuple[Pair, list[int]]] = field(default_factory=list)
    transistors: list[tuple[Legs, list[int]]] = field(default_factory=list)


def flatten(assembly: Assembly) -> Flat:
    """Number the nodes of an assembly and sort its elements."""
    flat = Flat(places={assembly.ground: -1})
    for node in sorted(assembly.nodes):
        _place(flat, node)
    for element in assembly.elements:
        _add(flat, assembly, element)
    return flat


def _add(flat: Flat, assembly: Assembly, element: Element) -> None:
    nodes = [_place(flat, node) for node in element.nodes]
    if element.kind in ("D", "NPN", "PNP"):
        _add_junctions(flat, assembly, element, nodes)
        return
    pair, value = (nodes[0], nodes[1]), _value(flat, assembly, element, "value")
    low = element.kind == "R" and _nominal(assembly, element, "value") <= LINK_OHM
    if element.kind in "VE" or low:
        flat.branch_names[element.kind].append(element.name)
    if element.kind == "E":
        flat.gains.append((pair, (nodes[2], nodes[3]), value))
    elif low:
        flat.links.append((pair, value))
    else:
        {"R": flat.resistors, "V": flat.voltages, "I": flat.currents}[element.kind].append((pair, value))


def _add_junctions(flat: Flat, assembly: Assembly, element: Element, nodes: list[int]) -> None:
    if element.kind == "D":
        values = [_value(flat, assembly, element, key) for key in DIODE_KEYS]
        flat.diode_names.append(element.name)
        flat.diodes.append(((nodes[0], nodes[1]), values))
        if _nominal(assembly, element, "RS"):
            flat.shunts.append(nodes[0])
        return
    legs = [_inside(flat, assembly, element, node, key) for node, key in zip(nodes, ("RC", "RB", "RE"), strict=True)]
    values = [_value(flat, assembly, element, key) for key in TRANSISTOR_KEYS]
    polarity = 1.0 if element.kind == "NPN" else -1.0
    flat.transistor_names.append(element.name)
    flat.transistors.append(((legs[0], legs[1], legs[2], polarity), values))


def _inside(flat: Flat, assembly: Assembly, element: Element, node: int, key: str) -> int:
    """The node behind a part's inner resistance; the outer node where it has none."""
    if not _nominal(assembly, element, key):
        return node
    inner = _place(flat, f"{element.name}#{key}")
    flat.resistors.append(((node, inner), _value(flat, assembly, element, key)))
    return inner


def _nominal(assembly: Assembly, element: Element, key: str) -> float:
    value = element.parameters[key]
    return assembly.parameters.nominal[value.index] if isinstance(value, Column) else value


def _place(flat: Flat, node: str) -> int:
    if node not in flat.places:
        flat.places[node] = len(flat.names)
        flat.names.append(node)
    return flat.places[node]


def _value(flat: Flat, assembly: Assembly, element: Element, key: str) -> int:
    value = element.parameters[key]
    if isinstance(value, Column):
        return value.index
    flat.fixed.append(value)
    return len(assembly.parameters) + len(flat.fixed) - 1
