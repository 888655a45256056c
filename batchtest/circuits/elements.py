"""Elements of a circuit and where their values come from: a column of an array of part values, or a fixed number."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from batchtest.files.circuit import Card, Model, Part, Tolerance

#: Kind of element -> its parameters and what they are where a `.model` does not say (SPICE's defaults; no breakdown).
DEFAULTS: Mapping[str, Mapping[str, float]] = {
    "D": {"IS": 1e-14, "N": 1.0, "RS": 0.0, "BV": math.inf, "IBV": 1e-3},
    "NPN": {
        "IS": 1e-16,
        "BF": 100.0,
        "BR": 1.0,
        "NF": 1.0,
        "NR": 1.0,
        "VAF": math.inf,
        "RB": 0.0,
        "RC": 0.0,
        "RE": 0.0,
    },
}


@dataclass(frozen=True, slots=True)
class Column:
    """A value that may differ from part to part: its column in an array of part values."""

    index: int


@dataclass(frozen=True, slots=True)
class Element:
    """One element. `kind` is R V I E D NPN or PNP; every parameter is a column or a fixed number, SPICE units."""

    name: str
    kind: str
    nodes: tuple[str, ...]
    parameters: Mapping[str, Column | float]


@dataclass(slots=True)
class Parameters:
    """The columns of an array of part values: part, parameter, nominal value, tolerance (+- share of the value)."""

    parts: list[str] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    nominal: list[float] = field(default_factory=list)
    tolerance: list[float] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.parts)

    def add(self, part: str, name: str, nominal: float, tolerance: float) -> Column:
        """One more column."""
        self.parts.append(part)
        self.names.append(name)
        self.nominal.append(nominal)
        self.tolerance.append(tolerance)
        return Column(len(self.parts) - 1)


def tolerances_of(part: Part | None) -> dict[str, float]:
    """Tolerance of each parameter of a part, by SPICE name, as a share of the value."""
    spread = part.tolerance if part else Tolerance()
    named = {"value": spread.value, "BV": spread.breakdown, "IS": spread.saturation_current, "BF": spread.beta}
    return {name: float(share) for name, share in named.items() if share is not None}


def element_of(
    card: Card, model: Model | None, tolerances: Mapping[str, float], place: str, parameters: Parameters
) -> Element:
    """A card as an element under the name of its place, its values in new columns of `parameters`."""
    name = f"{place}.{card.name}"
    nodes = tuple(f"{place}.{node}" for node in card.nodes)
    values: Mapping[str, float] = {"value": card.value}
    kind = card.kind
    if model is not None:
        kind = model.kind
        values = {**DEFAULTS["D" if kind == "D" else "NPN"], **model.parameters}
    columns = {key: parameters.add(name, key, value, tolerances.get(key, 0.0)) for key, value in values.items()}
    return Element(name, kind, nodes, columns)
