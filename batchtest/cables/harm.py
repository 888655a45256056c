"""Which wrong cable would do the most harm: the one to challenge a bench with."""

from __future__ import annotations

from batchtest.cables.damage import damage
from batchtest.files.library import Library


def most_harmful(library: Library, own: str, board: str) -> str:
    """The other cable that burns the most between a board and the hosts of its right cable.

    Where none burns anything, one that leads something astray; the first by name among equals. At least one other
    cable must be in the library.
    """
    others = [name for name in sorted(library.cables) if name != own]
    return max(others, key=lambda name: _harm(library, own, name, board))


def _harm(library: Library, own: str, other: str, board: str) -> tuple[float, int]:
    right, wrong = library.cables[own], library.cables[other]
    ratio, astray = 0.0, 0
    for host in right.hosts:
        found = damage(library.hosts[host], wrong, library.boards[board], name=other, right=right, deep=False)
        ratio = max(ratio, found.stressed[0].ratio if found.stressed else 0.0)
        astray = max(astray, len(found.astray))
    return ratio, astray
