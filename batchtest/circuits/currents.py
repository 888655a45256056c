"""Currents through the parts of a solved circuit, and what that makes them bear against their ratings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.devices import Devices
from batchtest.circuits.elements import Column, Element
from batchtest.circuits.flatten import Flat
from batchtest.circuits.system import Solution
from batchtest.files.circuit import CircuitFile, Rating

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stress:
    """What a part bears: voltage across it (collector to emitter), current, power, voltage against its base-emitter.

    Magnitudes in V, A and W, (samples,) each. A diode that conducts bears no voltage: it is rated for what it blocks.
    """

    voltage: Floats
    current: Floats
    power: Floats
    reverse_base_emitter: Floats

    def ratios(self, rating: Rating) -> dict[str, Floats]:
        """(samples,) what is borne over what the rating allows, for each quantity that is rated."""
        bounds = {name: getattr(rating, name) for name in type(self).__dataclass_fields__}
        return {name: getattr(self, name) / float(bound) for name, bound in bounds.items() if bound is not None}

    def share(self, rating: Rating) -> Floats:
        """(samples,) the largest of those ratios; 0 where nothing is rated."""
        worst: Floats = np.maximum.reduce([np.zeros_like(self.voltage), *self.ratios(rating).values()])
        return worst


def terminal_currents(solution: Solution, values: Floats) -> dict[str, tuple[Floats, ...]]:
    """Current into each terminal of every element, A, (samples,) each; `values` are those that were solved."""
    equations = solution.equations
    devices = Devices.of(equations.flat, equations.extended(values), solution.temperature_C)
    volts = solution.state.x @ equations.controls
    slopes, rests = devices.evaluate(solution.state.junctions)
    found: dict[str, tuple[Floats, ...]] = {}
    for index, name in enumerate(equations.flat.diode_names):
        found[name] = _pair(slopes[:, index] * volts[:, index] + rests[:, index])
    found |= _transistors(equations.flat, volts, slopes, rests)
    for index, name in enumerate(equations.branches):
        found[name] = _pair(solution.state.x[:, equations.count + index])
    for element in solution.assembly.elements:
        if element.name not in found:
            found[element.name] = _simple(solution, values, element)
    return found


def _pair(through: Floats) -> tuple[Floats, ...]:
    return through, -through


def _transistors(flat: Flat, volts: Floats, slopes: Floats, rests: Floats) -> dict[str, tuple[Floats, ...]]:
    """Currents into collector, base and emitter."""
    first, count = len(flat.diode_names), len(flat.transistor_names)
    found: dict[str, tuple[Floats, ...]] = {}
    for index, (name, (legs, _)) in enumerate(zip(flat.transistor_names, flat.transistors, strict=True)):
        be, bc = volts[:, first + index], volts[:, first + count + index]
        through_be, through_bc, base_be, base_bc = (slopes[:, first + index + step * count] for step in range(4))
        collector = legs[3] * (through_be * be + through_bc * bc + rests[:, first + index])
        base = legs[3] * (base_be * be + base_bc * bc + rests[:, first + count + index])
        found[name] = (collector, base, -collector - base)
    return found


def stresses(solution: Solution, values: Floats) -> dict[str, Stress]:
    """What every element bears."""
    currents = terminal_currents(solution, values)
    return {element.name: _stress(solution, element, currents[element.name]) for element in solution.assembly.elements}


def ratings_of(circuits: Mapping[str, CircuitFile]) -> dict[str, Rating]:
    """Rating of every part of circuits by place ("host", "board"); loads stand for what hangs on a board: not rated."""
    return {
        f"{place}.{name}": part.rating
        for place, circuit in circuits.items()
        for name, part in circuit.parts.part.items()
        if part.role != "load"
    }


def _simple(solution: Solution, values: Floats, element: Element) -> tuple[Floats, ...]:
    """A resistor or a current source."""
    value = element.parameters["value"]
    amount = values[:, value.index] if isinstance(value, Column) else np.full(len(values), value)
    through = solution.between(*element.nodes[:2]) / amount if element.kind == "R" else amount
    return _pair(through)


def _stress(solution: Solution, element: Element, currents: tuple[Floats, ...]) -> Stress:
    volts = [solution.voltage(node) for node in element.nodes]
    none = np.zeros(len(solution.volts))
    power = np.abs(sum((volt * current for volt, current in zip(volts, currents, strict=False)), start=none))
    if element.kind == "D":
        across = volts[0] - volts[1]
        return Stress(np.maximum(-across, 0.0), np.abs(currents[0]), power, none)
    if element.kind in ("NPN", "PNP"):
        sign = 1.0 if element.kind == "NPN" else -1.0
        reversed_V = np.maximum(sign * (volts[2] - volts[1]), 0.0)
        return Stress(np.abs(volts[0] - volts[2]), np.abs(currents[0]), power, reversed_V)
    return Stress(np.abs(volts[0] - volts[1]), np.abs(currents[0]), power, none)
