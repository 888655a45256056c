"""A host by itself, with nothing mated to it: the voltage between any two of its pins, as a meter's input shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Self

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import Assembly, Drive, LimitedSource, alone
from batchtest.circuits.moving import MovingSource
from batchtest.files.circuit import CircuitFile

Floats = NDArray[np.float64]
#: Two pins, plus and minus.
Pair = tuple[int, int]

#: Input of common meters on volts (common practice, no source; some have more on their low ranges). It is part of the
#: circuit here: it pulls a pin on which nothing hangs to the other end, so that such a pin reads a steady zero, and
#: what holds a voltage on a pin must deliver it through this. 50 mV across it is 5 nA.
METER_OHM = 1e7
#: The meter's input as a source that gives nothing of its own.
METER = Drive(0.0, METER_OHM, -1.0, 1.0)
#: Role of the parts that the mains feed: the host's own source.
SOURCE_ROLE = "source"


@dataclass(frozen=True, slots=True)
class HostModel:
    """A host's circuit alone, and the meter's input moved over its pins."""

    circuit: CircuitFile
    assembly: Assembly
    meter: MovingSource

    @classmethod
    def of(cls, circuit: CircuitFile) -> Self:
        """Prepare the circuit of a host."""
        assembly = alone(circuit)
        pins = range(1, len(circuit.netlist.ports) + 1)
        places = [LimitedSource(_name(pair), f"host.{pair[0]}", f"host.{pair[1]}") for pair in combinations(pins, 2)]
        return cls(circuit, assembly, MovingSource(assembly, places))

    def volts(self, values: Floats, pairs: Sequence[Pair], temperature_C: float | Floats) -> Floats:
        """Voltage between pairs of pins with the meter across each alone, shape (pairs, samples), V.

        Parameters
        ----------
        values : (samples, columns) part values.
        pairs : plus and minus pin; no pin with itself.
        temperature_C : of all junctions; a number, or (samples,).

        Raises
        ------
        NoOperatingPoint : names the node that would not settle.
        """
        settings = [(_name((min(pair), max(pair))), METER) for pair in pairs]
        signs = np.array([1.0 if plus < minus else -1.0 for plus, minus in pairs])
        return signs[:, np.newaxis] * self.meter.volts(values, settings, temperature_C)

    @property
    def unused(self) -> tuple[int, ...]:
        """Pins on which nothing hangs."""
        used = {node for element in self.assembly.elements for node in element.nodes}
        pins = range(1, len(self.circuit.netlist.ports) + 1)
        return tuple(pin for pin in pins if self.assembly.node(f"host.{pin}") not in used)

    def settle_s(self, pair: Pair) -> float:
        """Time constant with which the slower of two pins settles, s."""
        return max(self.assembly.settle_s(f"host.{pin}") for pin in pair)


def at_mains(assembly: Assembly, circuit: CircuitFile, values: Floats, share: float | Floats) -> Floats:
    """Part values with the host's source at a share of its voltage: 1.1 is mains 10 % high, 0 a host switched off.

    Parameters
    ----------
    share : a number for all samples, or (samples,).
    """
    sources = {f"host.{name}" for name, part in circuit.parts.part.items() if part.role == SOURCE_ROLE}
    columns = [column for column, part in enumerate(assembly.parameters.parts) if part in sources]
    fed = values.copy()
    fed[:, columns] *= np.reshape(share, (-1, 1))
    return fed


def _name(pair: Pair) -> str:
    return f"{pair[0]}-{pair[1]}"
