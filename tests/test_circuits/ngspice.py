"""The independent reference: ngspice as a shared library, in this process, through ctypes.

An assembly is written out as a flat netlist, every part with a model of its own, so that drawn values and faults go along.
"""

from __future__ import annotations

import ctypes
import math
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from batchtest.circuits import Assembly, Drive, LimitedSource
from batchtest.circuits.elements import Column, Element

LIBRARY = "libngspice.so.0"
OPTIONS = ".options reltol=1e-7 abstol=1e-15 vntol=1e-9 gmin=1e-12 rshunt=1e12 temp=27 tnom=27 itl1=500 noopiter=0"

_SAY = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
_EXIT = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_int, ctypes.c_bool, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p
)


class _Vector(ctypes.Structure):
    _fields_ = [  # noqa: RUF012  (ctypes asks for a plain list)
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

    def solve(self, cards: Sequence[str], nodes: Sequence[str]) -> dict[str, float] | None:
        """Operating point of a flat netlist; `None` where ngspice finds none."""
        self.said.clear()
        lines = ["reference", *cards, OPTIONS, ".end"]
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
) -> dict[str, float] | None:
    """Voltage of every node of an assembly with one row of part values, by ngspice."""
    names = {node: f"n{number}" for number, node in enumerate(sorted({*assembly.nodes, *_stubs(assembly)}))}
    names[assembly.ground] = "0"
    cards = [line for number, element in enumerate(assembly.elements) for line in _card(number, element, values, names)]
    for number, source in enumerate(sources):
        ends = names[assembly.node(source.plus)], names[assembly.node(source.minus)]
        cards += _source(number, ends, drives.get(source.name))
    reference = library()
    assert reference is not None
    found = reference.solve(cards, sorted(set(names.values()) - {"0"}))
    return None if found is None else {node: found.get(name, 0.0) for node, name in names.items()}


def _stubs(assembly: Assembly) -> set[str]:
    return {node for element in assembly.elements for node in element.nodes}


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
    return [f"{letter}{number} {nodes} M{number}", f".model M{number} {element.kind}({parameters})"]


def _source(number: int, ends: tuple[str, str], drive: Drive | None) -> list[str]:
    """A limited source as a behavioural source; one that is off is left out."""
    if drive is None or (drive.lower_A == 0 and drive.upper_A == 0):
        return []
    plus, minus = ends
    slope = f"({float(drive.volts)!r}-v({plus},{minus}))/{float(drive.ohms)!r}"
    return [f"B{number} {minus} {plus} I=max({float(drive.lower_A)!r},min({float(drive.upper_A)!r},{slope}))"]
