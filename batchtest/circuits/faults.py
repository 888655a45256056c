"""Faults of single parts and wires, put into a circuit: "board.DZ12 short", "Q5 open-b", "cable.W6 open"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.elements import Element
from batchtest.errors import SetupError, nearest

#: What an open and a short amount to, ohm.
OPEN_OHM, SHORT_OHM = 1e9, 0.02

_PINS = {"c": 0, "b": 1, "e": 2}


def with_fault(assembly: Assembly, fault: str) -> Assembly:
    """The circuit with one more fault in it.

    Parameters
    ----------
    fault : a part and how it fails, such as "board.DZ12 short". A part without its place is the board's. R D V I: open;
        R D: short; D: reversed; Q: open-c, open-b, open-e, short-ce, short-be, short-bc; E: stuck-low (no output),
        stuck-high (its output follows its input).

    The columns of part values stay as they are, so that the same drawn parts can be solved with and without the fault.
    Raises SetupError for a part or a mode that is not there.
    """
    name, _, mode = fault.strip().partition(" ")
    if "." not in name:
        name = f"board.{name}"
    names = [element.name for element in assembly.elements]
    if name not in names:
        raise SetupError(f"no part {name!r} for the fault {fault!r}; {nearest(name, names)}")
    elements: list[Element] = []
    for element in assembly.elements:
        elements += _failed(element, mode.strip()) if element.name == name else [element]
    return assembly.with_elements(elements, f"{name} {mode.strip()}")


def fault_modes(element: Element) -> tuple[str, ...]:
    """How an element may fail."""
    return tuple(_MODES[element.kind])


def _failed(element: Element, mode: str) -> list[Element]:
    modes = _MODES[element.kind]
    if mode not in modes:
        cure = nearest(mode, list(modes))
        raise SetupError(f"{element.name} cannot fail as {mode!r}; {cure}")
    return modes[mode](element)


def _resistor(element: Element, ohms: float) -> Element:
    return Element(element.name, "R", element.nodes[:2], {"value": ohms})


def _open(element: Element) -> list[Element]:
    return [_resistor(element, OPEN_OHM)]


def _short(element: Element) -> list[Element]:
    return [_resistor(element, SHORT_OHM)]


def _reversed(element: Element) -> list[Element]:
    return [replace(element, nodes=element.nodes[::-1])]


def _gain(gain: float) -> Callable[[Element], list[Element]]:
    return lambda element: [replace(element, parameters={"value": gain})]


def _open_pin(pin: str) -> Callable[[Element], list[Element]]:
    def fail(element: Element) -> list[Element]:
        place = _PINS[pin]
        stub = f"{element.name}#{pin}"
        nodes = (*element.nodes[:place], stub, *element.nodes[place + 1 :])
        return [
            replace(element, nodes=nodes),
            Element(f"{element.name}#open", "R", (element.nodes[place], stub), {"value": OPEN_OHM}),
        ]

    return fail


def _short_pins(one: str, other: str) -> Callable[[Element], list[Element]]:
    def fail(element: Element) -> list[Element]:
        nodes = element.nodes[_PINS[one]], element.nodes[_PINS[other]]
        return [element, Element(f"{element.name}#short", "R", nodes, {"value": SHORT_OHM})]

    return fail


_Mode = Callable[[Element], list[Element]]
_TRANSISTOR: dict[str, _Mode] = {
    **{f"open-{pin}": _open_pin(pin) for pin in "cbe"},
    **{f"short-{one}{other}": _short_pins(one, other) for one, other in ("ce", "be", "bc")},
}
_MODES: dict[str, dict[str, _Mode]] = {
    "R": {"open": _open, "short": _short},
    "V": {"open": _open},
    "I": {"open": _open},
    "D": {"open": _open, "short": _short, "reversed": _reversed},
    "NPN": _TRANSISTOR,
    "PNP": _TRANSISTOR,
    "E": {"stuck-low": _gain(0.0), "stuck-high": _gain(1.0)},
}
