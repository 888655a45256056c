"""Everything single that may be wrong with a board in its nest, each as a circuit that can be solved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from batchtest.cables.wiring import wiring_faults
from batchtest.circuits import Assembly, join, with_fault
from batchtest.circuits.elements import Element
from batchtest.circuits.faults import SHORT_OHM
from batchtest.diagnosis.model import Defect, Hypothesis, Kind
from batchtest.diagnosis.values import neighbours, wrong_values
from batchtest.files.circuit import CircuitFile, Part
from batchtest.files.library import Setup
from batchtest.quantities import write

GOOD = Hypothesis(name="good", kind=Kind.GOOD, defect=Defect.NONE)

_DEFECTS = {"open": Defect.OPEN, "short": Defect.SHORT, "reversed": Defect.REVERSED, "stuck": Defect.DEAD}
_KINDS = {"board": Kind.BOARD, "host": Kind.FIXTURE}


@dataclass(frozen=True, slots=True)
class Fault:
    """A hypothesis with its circuit; `scales` multiply the nominal values of some columns of its part values."""

    hypothesis: Hypothesis
    assembly: Assembly
    scales: Mapping[int, float] = field(default_factory=dict)


def faults(setup: Setup) -> Iterator[Fault]:
    """The good board first, then board, nest and cable."""
    good = join(setup.fixture_circuit, setup.cable, setup.board_circuit)
    yield Fault(GOOD, good)
    for place, circuit in (("board", setup.board_circuit), ("host", setup.fixture_circuit)):
        for name, part in circuit.parts.part.items():
            yield from _of_part(good, place, name, part)
            yield from _missing_or_turned(good, place, name, part)
            yield from _wrong_values(good, place, name, part)
        yield from _bridges(good, place, circuit)
    yield from _cables(setup)


def _of_part(good: Assembly, place: str, name: str, part: Part) -> Iterator[Fault]:
    """The ways to fail that the parts file names. A part of two legs that is missing is open."""
    for mode in part.modes:
        yield Fault(_hypothesis(place, name, part, mode), with_fault(good, f"{place}.{name} {mode}"))


def _hypothesis(place: str, name: str, part: Part, mode: str, defect: Defect | None = None) -> Hypothesis:
    found = defect or next(one for word, one in _DEFECTS.items() if mode.startswith(word))
    at = None if part.place is None else (float(part.place[0]), float(part.place[1]))
    full = _named(place, name)
    return Hypothesis(name=f"{full} {mode}", kind=_KINDS[place], defect=found, parts=(full,), mode=mode, place=at)


def _named(place: str, name: str) -> str:
    return name if place == "board" else f"{place}.{name}"


def _missing_or_turned(good: Assembly, place: str, name: str, part: Part) -> Iterator[Fault]:
    """A diode the wrong way round; a transistor left out, or with collector and emitter swapped."""
    element = next(one for one in good.elements if one.name == f"{place}.{name}")
    if element.kind not in ("D", "NPN", "PNP"):
        return
    if "reversed" not in part.modes:
        turned = replace(element, nodes=element.nodes[::-1])
        yield Fault(_hypothesis(place, name, part, "reversed"), _with(good, element, [turned], "reversed"))
    if element.kind != "D":
        missing = _hypothesis(place, name, part, "missing", Defect.MISSING)
        yield Fault(missing, _with(good, element, [], "missing"))


def _with(good: Assembly, old: Element, new: list[Element], what: str) -> Assembly:
    """The circuit with one element replaced."""
    elements = [one for each in good.elements for one in (new if each is old else [each])]
    return good.with_elements(elements, f"{old.name} {what}")


def _wrong_values(good: Assembly, place: str, name: str, part: Part) -> Iterator[Fault]:
    """A resistor of another value, a zener diode of the next voltage."""
    columns = good.parameters
    for index, (owner, parameter) in enumerate(zip(columns.parts, columns.names, strict=True)):
        nominal = columns.nominal[index]
        if owner != f"{place}.{name}" or not columns.tolerance[index] or part.role == "coil":
            continue
        if parameter == "BV":
            values, unit = list(neighbours(nominal)), "V"
        elif parameter == "value" and _is_resistor(good, owner):
            values, unit = list(wrong_values(nominal)), "ohm"
        else:
            continue
        for value in values:
            mode = f"is {write(Decimal(f'{value:.4g}'), unit)}"
            yield Fault(_hypothesis(place, name, part, mode, Defect.VALUE), good, {index: value / nominal})


def _is_resistor(good: Assembly, owner: str) -> bool:
    return any(one.name == owner and one.kind == "R" for one in good.elements)


def _bridges(good: Assembly, place: str, circuit: CircuitFile) -> Iterator[Fault]:
    """Solder from a net to a neighbour's, each pair of nets once, with every pair of parts where it may lie."""
    beside: dict[tuple[str, str], dict[str, None]] = {}
    for name, part in circuit.parts.part.items():
        for bridge in part.bridges:
            one, other = sorted((bridge.net, bridge.to))
            if one != other:
                beside.setdefault((one, other), {}).update({name: None, bridge.part: None})
    for (one, other), parts in beside.items():
        name = f"{_named(place, one)}-{_named(place, other)} bridged"
        solder = Element(f"{place}.bridge", "R", (f"{place}.{one}", f"{place}.{other}"), {"value": SHORT_OHM})
        hypothesis = Hypothesis(
            name=name,
            kind=_KINDS[place],
            defect=Defect.BRIDGE,
            parts=tuple(_named(place, part) for part in parts),
            mode=f"{one}-{other}",
        )
        yield Fault(hypothesis, good.with_elements([*good.elements, solder], name))


def _cables(setup: Setup) -> Iterator[Fault]:
    """Other cables of the library, and the right one with a wire cut, two swapped, or two that touch."""
    for name, cable in setup.cables.items():
        if name != setup.fixture.cable:
            yield _cable_fault(setup, f"{name} is fitted", join(setup.fixture_circuit, cable, setup.board_circuit))
    own, pins = setup.cable, len(setup.fixture_circuit.netlist.ports)
    yield _cable_fault(setup, "cable is not plugged in at the board", _joined(setup, {"wires": ()}))
    for fault in wiring_faults(own, pins):
        if " goes to host pin " not in fault.what:  # a made-up cable is proven once, by `cables`, not board by board
            joined = join(setup.fixture_circuit, fault.cable, setup.board_circuit)
            yield _cable_fault(setup, f"cable: {fault.what}", joined)


def _joined(setup: Setup, changed: Mapping[str, object]) -> Assembly:
    return join(setup.fixture_circuit, setup.cable.model_copy(update=changed), setup.board_circuit)


def _cable_fault(setup: Setup, name: str, assembly: Assembly) -> Fault:
    hypothesis = Hypothesis(name=name, kind=Kind.CABLE, defect=Defect.WIRING, parts=(setup.fixture.cable,), mode=name)
    return Fault(hypothesis, assembly)
