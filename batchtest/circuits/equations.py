"""The modified nodal equations of a circuit: which unknown is what, and where each element stamps.

A conductance and a transconductance stamp the same way: a current between an outgoing pair of unknowns, controlled by
the voltage of another pair. A branch (V, E, a low resistor, a limited source) adds an unknown, its current. Patterns
are made once; for a batch of samples a stamp is then one matrix product.

A source that is moved lies between another pair of nodes in each sample. It hangs on a gauge, an unknown of its own
that is the voltage between that pair: only the gauge's row and the column of the source's current differ by sample.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.flatten import Flat, Pair, flatten
from batchtest.circuits.sources import LimitedSource

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

#: Conductance from every node to ground, nodes inside of parts included, S: nets held by nothing else stay solvable.
SHUNT_S = 1e-12
_GROUND = -1


@dataclass(frozen=True, slots=True)
class Pattern:
    """Where a list of (trans)conductances stamps: `slots` of the flat matrix, and the weight of each there."""

    slots: Places
    weights: Floats

    @classmethod
    def of(cls, pairs: Sequence[tuple[Pair, Pair]], size: int) -> Pattern:
        """Pattern of currents between outgoing pairs, each controlled by the voltage of its second pair."""
        entries: dict[int, dict[int, float]] = {}
        for index, (out, control) in enumerate(pairs):
            for row, out_sign in zip(out, (1.0, -1.0), strict=True):
                for column, sign in zip(control, (1.0, -1.0), strict=True):
                    if _GROUND not in (row, column):
                        slot = entries.setdefault(row * size + column, {})
                        slot[index] = slot.get(index, 0.0) + out_sign * sign
        weights = np.zeros((len(pairs), len(entries)))
        for place, slot in enumerate(entries.values()):
            weights[list(slot), place] = list(slot.values())
        return cls(np.fromiter(entries, np.intp, len(entries)), weights)

    def add(self, matrices: Floats, conductances: Floats) -> None:
        """Add the stamps of each sample to its flat matrix."""
        matrices[:, self.slots] += conductances @ self.weights


def incidence(pairs: Sequence[Pair], size: int, signs: Sequence[float] | None = None) -> Floats:
    """Rows with +1 and -1 (times a sign) at a pair's unknowns: times the unknowns, the voltage between them."""
    rows = np.zeros((len(pairs), size))
    for row, (one, other), sign in zip(rows, pairs, signs or [1.0] * len(pairs), strict=True):
        if one != _GROUND:
            row[one] += sign
        if other != _GROUND:
            row[other] -= sign
    return rows


class Equations:
    """Unknowns and stamps of one assembly with its limited sources.

    `names` are the nodes of the first `count` of `size` unknowns, `places` where each node is; the currents of branches
    follow (V, E, low resistors, sources from `driven` on; before these the `gauge` where there is a source that is
    moved, which then is the last). `junctions` names the junctions: diodes, base-emitter, base-collector; the
    `controls` are their voltages and after them those of the sources. `branches` names the branches, sources left out.
    """

    def __init__(
        self, assembly: Assembly, sources: Sequence[LimitedSource], moved: Sequence[LimitedSource] = ()
    ) -> None:
        self.flat = flat = flatten(assembly)
        self.names, self.places, self.count = flat.names, flat.places, len(flat.names)
        self.junctions = [*flat.diode_names, *_suffixed(flat.transistor_names, "be", "bc")]
        self.gauge = self.count + len(flat.voltages) + len(flat.gains) + len(flat.links)
        self.driven = self.gauge + bool(moved)
        fixed, self._pairs = self._between(assembly, sources), self._between(assembly, moved)
        self._ends = [*fixed, (self.gauge, _GROUND)] if moved else fixed
        self.size = self.driven + len(self._ends)
        self.branches = [*flat.branch_names["V"], *flat.branch_names["E"], *flat.branch_names["R"]]
        self._lay_out_branches(flat)
        self._lay_out_linear(flat)
        self._lay_out_controlled(flat)

    def extended(self, values: Floats) -> Floats:
        """Part values (samples, columns) with the fixed numbers beside them."""
        fixed = np.broadcast_to(np.array(self.flat.fixed), (len(values), len(self.flat.fixed)))
        return np.concatenate([values, fixed], axis=1)

    def linear(self, extended: Floats, moved: Places | None = None) -> tuple[Floats, Floats]:
        """Flat matrices (samples, size**2) and right sides (samples, size) of all that is linear.

        `moved` are the places, (samples,), of the source that is moved.
        """
        matrices = np.repeat(self._constant[None], len(extended), axis=0)
        self._conducting.add(matrices, 1.0 / extended[:, self._ohms])
        self._branching.add(matrices, -extended[:, self._branch_values])
        if moved is not None:
            there = np.eye(len(self._pairs))[moved]
            self._moving.add(matrices, -np.concatenate([there, there], axis=1))
        return matrices, extended[:, self._forced] @ self._forcing

    def _between(self, assembly: Assembly, sources: Sequence[LimitedSource]) -> list[Pair]:
        """The unknowns between which sources lie."""
        return [(self.places[assembly.node(one.plus)], self.places[assembly.node(one.minus)]) for one in sources]

    def _lay_out_branches(self, flat: Flat) -> None:
        """The rows that say what holds over a branch, and the columns that let its current into its nodes."""
        held = [pair for pair, _ in flat.voltages] + [pair for pair, *_ in flat.gains]
        held += [pair for pair, _ in flat.links]
        rows = slice(self.count, self.gauge)
        constant = np.zeros((self.size, self.size))
        constant[rows] = incidence(held, self.size)
        constant[:, rows] = incidence(held, self.size).T
        constant[:, self.driven :] = -incidence(self._ends, self.size).T
        if self._pairs:  # the current of a moved source flows between its pair, not through the gauge
            constant[self.gauge, self.gauge], constant[self.gauge, -1] = 1.0, 0.0
        for node in [*range(self.count), *flat.shunts]:
            if node != _GROUND:
                constant[node, node] += SHUNT_S
        self._constant = constant.ravel()

    def _lay_out_linear(self, flat: Flat) -> None:
        self._conducting = Pattern.of([(pair, pair) for pair, _ in flat.resistors], self.size)
        self._ohms = _places(place for _, place in flat.resistors)
        gains = self.count + len(flat.voltages)
        links = gains + len(flat.gains)
        controlled = [((gains + row, _GROUND), pair) for row, (_, pair, _) in enumerate(flat.gains)]
        dropping = [((links + row, _GROUND), (links + row, _GROUND)) for row in range(len(flat.links))]
        self._branching = Pattern.of([*controlled, *dropping], self.size)
        self._branch_values = _places([*(place for *_, place in flat.gains), *(place for _, place in flat.links)])
        gauged = [((self.gauge, _GROUND), pair) for pair in self._pairs]
        fed_in = [(pair, (self.size - 1, _GROUND)) for pair in self._pairs]
        self._moving = Pattern.of([*gauged, *fed_in], self.size)
        fixed = [(self.count + row, _GROUND) for row in range(len(flat.voltages))]
        fed = [(other, one) for (one, other), _ in flat.currents]
        self._forcing = incidence(fixed + fed, self.size)
        self._forced = _places(place for _, place in [*flat.voltages, *flat.currents])

    def _lay_out_controlled(self, flat: Flat) -> None:
        diodes = [pair for pair, _ in flat.diodes]
        legs = [legs for legs, _ in flat.transistors]
        emitter = [(base, emitter) for _, base, emitter, _ in legs]
        collector = [(base, collector) for collector, base, _, _ in legs]
        through = [(collector, emitter) for collector, _, emitter, _ in legs]
        polarity = [sign for *_, sign in legs]
        signs = [*[1.0] * len(diodes), *polarity, *polarity, *[1.0] * len(self._ends)]
        rows = [(row, _GROUND) for row in range(self.driven, self.size)]
        self.controls = incidence([*diodes, *emitter, *collector, *self._ends], self.size, signs).T.copy()
        self.outputs = incidence([*diodes, *through, *emitter, *rows], self.size, signs)
        crossed = [(out, control) for out in (through, emitter) for control in (emitter, collector)]
        transfers = [pair for out, control in crossed for pair in zip(out, control, strict=True)]
        own = [(pair, pair) for pair in diodes]
        sources = [*zip(rows, self._ends, strict=True), *zip(rows, rows, strict=True)]
        self.stamps = Pattern.of([*own, *transfers, *sources], self.size)


def _suffixed(names: Sequence[str], *suffixes: str) -> list[str]:
    return [f"{name}.{suffix}" for suffix in suffixes for name in names]


def _places(places: Iterable[int]) -> Places:
    return np.array(list(places), dtype=np.intp)
