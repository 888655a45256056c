"""Part values: as the schematic has them, or drawn from their tolerances, a serial always getting the same parts."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly

Floats = NDArray[np.float64]


def nominal_values(assembly: Assembly) -> Floats:
    """Part values as the schematic has them, shape (1, columns)."""
    return np.array([assembly.parameters.nominal])


def draw_values(assembly: Assembly, serials: Sequence[str], *, seed: int = 0, spread: float = 1 / 3) -> Floats:
    """Part values of boards, each drawn from its tolerance: shape (boards, columns).

    Normal with a standard deviation of `spread` times the tolerance, cut off at the tolerance (common practice, no
    source).
    A board's parts follow from seed and serial alone; host and cable are the same for all serials of a seed.

    Parameters
    ----------
    serials : one for each board.
    seed : of the bench.
    spread : standard deviation over tolerance, above 0.
    """
    from scipy.special import ndtr, ndtri

    parameters = assembly.parameters
    values = np.tile(np.array(parameters.nominal), (len(serials), 1))
    loose = [column for column, tolerance in enumerate(parameters.tolerance) if tolerance > 0]
    shares = np.array([[_share(seed, serial, *_name(assembly, column)) for column in loose] for serial in serials])
    shares = shares.reshape(len(serials), len(loose))
    tail = ndtr(-1 / spread)
    scatter = np.clip(spread * ndtri(tail + shares * (1 - 2 * tail)), -1.0, 1.0)
    values[:, loose] *= 1 + np.array(parameters.tolerance)[loose] * scatter
    return values


def draw_all(assembly: Assembly, count: int) -> Floats:
    """Part values of `count` benches, each with a host, a cable and a board of its own: shape (count, columns)."""
    return np.concatenate([draw_values(assembly, [f"bench {seed}"], seed=seed) for seed in range(count)])


def _name(assembly: Assembly, column: int) -> tuple[str, str]:
    return assembly.parameters.parts[column], assembly.parameters.names[column]


def _share(seed: int, serial: str, part: str, parameter: str) -> float:
    """A number between 0 and 1 that follows from its names alone."""
    whose = serial if part.startswith("board.") else ""
    digest = blake2b(f"{seed}/{whose}/{part}/{parameter}".encode(), digest_size=8).digest()
    return (int.from_bytes(digest) + 0.5) / 2.0**64
