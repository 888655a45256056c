"""The independent reference: ngspice as a shared library, in this process, through ctypes.

An assembly is written out as a flat netlist, every part with a model of its own, so that drawn values and faults go
along.
"""

from __future__ import annotations

import ctypes
import math
from collections.abc import Mapping, Sequence
from functools import cache
from itertools import product

import numpy as np

from batchtest.circuits import Assembly, Drive, LimitedSource
from batchtest.circuits.elements import Column, Element

LIBRARY = "libngspice.so.0"
OPTIONS = ".options reltol=1e-7 abstol=1e-15 vntol=1e-9 gmin=1e-12 rshunt=1e12 tnom=27 itl1=500"

_SAY = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
_EXIT = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_int, ctypes.c_bool, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p)


class _Vector(ctypes.Structure):
    _fields_ = [
        ("name", ctypes.c_char_p),
        ("type", ctypes.c_int),
        ("flags", ctypes.c_short),
        ("real", ctypes.POINTER(ctypes.c_double)),
        ("complex", ctypes.c_void_p),
        ("length", ctypes.c_int),
    ]


class Ngspice:
    """One loaded library; what it said last is in `said`."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL(LIBRARY)
        self.said: list[str] = []
        self._hear = _SAY(self._keep)
        self._quiet = _SAY(lambda text, number, user: 0)
        self._exit = _EXIT(lambda *anything: 0)
        self._library.ngSpice_Init(self._hear, self._quiet, self._exit, None, None, None, None)
        self._library.ngGet_Vec_Info.restype = ctypes.POINTER(_Vector)
        self._library.ngGet_Vec_Info.argtypes = [ctypes.c_char_p]

    def solve(self, cards: Sequence[str], nodes: Sequence[str], temperature_C: float) -> dict[str, float] | None:
        """Operating point of a flat netlist; `None` where ngspice finds none."""
        self.said.clear()
        lines = ["reference", *cards, f"{OPTIONS} temp={temperature_C!r}", ".end"]
        array = (ctypes.c_char_p * (len(lines) + 1))(*[line.encode() for line in lines], None)
        self._library.ngSpice_Circ(array)
        self._library.ngSpice_Command(b"op")
        failed = any("fail" in line.lower() or "aborted" in line.lower() for line in self.said)
        volts = {node: self._voltage(node) for node in nodes}
        self._library.ngSpice_Command(b"destroy all")
        self._library.ngSpice_Command(b"remcirc")
        return None if failed or any(math.isnan(volt) for volt in volts.values()) else volts

    def _voltage(self, node: str) -> float:
        vector = self._library.ngGet_Vec_Info(node.encode())
        return float(vector.contents.real[0]) if vector and vector.contents.length else math.nan

    def _keep(self, text: bytes, number: int, user: int) -> int:
        self.said.append(text.decode(errors="replace"))
        return 0


@cache
def library() -> Ngspice | None:
    """The library, once for the process; `None` where it is not installed."""
    try:
        return Ngspice()
    except OSError:
        return None


def voltages(
    assembly: Assembly,
    values: np.ndarray,
    sources: Sequence[LimitedSource] = (),
    drives: Mapping[str, Drive] = {},
    temperature_C: float = 27.0,
) -> dict[str, float] | None:
    """Voltage of every node of an assembly with one row of part values, by ngspice; `None` where it finds none.

    A limited source is written as one of its straight lines; the lines are tried in turn until each holds where it
    lands.
    """
    driven = [(source, drives[source.name]) for source in sources if source.name in drives]
    used = {node for element in assembly.elements for node in element.nodes}
    used |= {assembly.node(end) for source, _ in driven for end in (source.plus, source.minus)}
    names = {node: f"n{number}" for number, node in enumerate(sorted(used))}
    names[assembly.ground] = "0"
    cards = [line for number, element in enumerate(assembly.elements) for line in _card(number, element, values, names)]
    placed = [(names[assembly.node(one.plus)], names[assembly.node(one.minus)], drive) for one, drive in driven]
    reference = library()
    assert reference is not None
    for lines in product(*[_lines(drive) for _, drive in driven]):
        extra = [line for number, one in enumerate(zip(placed, lines, strict=True)) for line in _source(number, *one)]
        found = reference.solve([*cards, *extra], sorted(set(names.values()) - {"0"}), temperature_C)
        if found is not None and all(_holds(found, *one) for one in zip(placed, lines, strict=True)):
            return {node: found.get(name, 0.0) for node, name in names.items()}
    return None


def _card(number: int, element: Element, values: np.ndarray, names: Mapping[str, str]) -> list[str]:
    nodes = " ".join(names[node] for node in element.nodes)
    numbers = {
        key: float(values[value.index]) if isinstance(value, Column) else value
        for key, value in element.parameters.items()
    }
    if element.kind in "RVIE":
        return [f"{element.kind}{number} {nodes} {numbers['value']!r}"]
    parameters = " ".join(f"{key}={value!r}" for key, value in numbers.items() if math.isfinite(value))
    letter = "D" if element.kind == "D" else "Q"
    if letter == "Q":  # the substrate leaks to ground unless it is tied; a discrete transistor has none
        nodes += f" {nodes.split()[0 if element.kind == 'NPN' else 1]}"
    return [f"{letter}{number} {nodes} M{number}", f".model M{number} {element.kind}({parameters})"]


_Placed = tuple[str, str, Drive]


def _lines(drive: Drive) -> list[float | None]:
    """The lines a source may be on: the slope (None), or one of its limits in A."""
    return [None, *dict.fromkeys((float(drive.lower_A), float(drive.upper_A)))]


def _source(number: int, placed: _Placed, limit_A: float | None) -> list[str]:
    plus, minus, drive = placed
    if limit_A is not None:
        return [f"I{number}X {minus} {plus} {limit_A!r}"]
    return [
        f"V{number}X x{number} {minus} {float(drive.volts)!r}",
        f"R{number}X x{number} {plus} {float(drive.ohms)!r}",
    ]


def _holds(found: Mapping[str, float], placed: _Placed, limit_A: float | None) -> bool:
    """Whether the line a source was taken to be on is the one the law asks for at the voltage found."""
    plus, minus, drive = placed
    slope_A = (float(drive.volts) - found.get(plus, 0.0) + found.get(minus, 0.0)) / float(drive.ohms)
    wanted_A = min(max(slope_A, float(drive.lower_A)), float(drive.upper_A))
    return wanted_A == slope_A if limit_A is None else wanted_A == limit_A
