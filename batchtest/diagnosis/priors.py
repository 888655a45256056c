"""How likely each fault is before anything was read: by how boards fail, and by what has cured boards here.

The shares are common practice without a source, and rough; readings outweigh them nearly always. What the workshop
itself found, from its rework notes, outweighs them in time.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from batchtest.diagnosis.model import Defect, Floats, Hypothesis, Kind

#: As many cures as this weigh as much as the shares below.
OWN_WEIGHT = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Shares of what is wrong with a board that does not pass.

    Parameters
    ----------
    kinds : where it is; of `Kind.UNKNOWN` something that no table has.
    defects : how the board is wrong, where it is the board.
    cures : part -> how many boards were cured by it, from the workshop's own notes.
    """

    kinds: Mapping[Kind, float]
    defects: Mapping[Defect, float]
    cures: Mapping[str, int] = field(default_factory=dict)

    @property
    def unknown(self) -> float:
        """Share of what no table has."""
        return self.kinds[Kind.UNKNOWN]

    def of(self, hypotheses: tuple[Hypothesis, ...]) -> Floats:
        """(H,) probability of each hypothesis; with `unknown` they sum to 1. Within a class all are alike."""
        classes = [(one.kind, self._class(one)) for one in hypotheses]
        sizes = Counter(classes)
        weights = np.array([self._share(*each) / sizes[each] for each in classes])
        weights *= (1 - self.unknown) / weights.sum()
        return self._learned(hypotheses, weights)

    def _class(self, one: Hypothesis) -> Defect:
        return one.defect if one.kind is Kind.BOARD else Defect.NONE

    def _share(self, kind: Kind, defect: Defect) -> float:
        return self.kinds.get(kind, 0.0) * (self.defects.get(defect, 0.0) if kind is Kind.BOARD else 1.0)

    def _learned(self, hypotheses: tuple[Hypothesis, ...], weights: Floats) -> Floats:
        """Share of each part drawn towards how often it cured a board (a Dirichlet prior of weight `OWN_WEIGHT`)."""
        mass: defaultdict[str, float] = defaultdict(float)
        for one, weight in zip(hypotheses, weights, strict=True):
            mass[_first(one)] += float(weight)
        cured = {part: count for part, count in self.cures.items() if part in mass}
        total = sum(cured.values())
        known = 1 - self.unknown
        boost = [
            (OWN_WEIGHT + known * cured.get(_first(one), 0) / mass[_first(one)]) / (OWN_WEIGHT + total)
            for one in hypotheses
        ]
        found: Floats = weights * np.array(boost)
        found *= known / found.sum()
        return found


def _first(one: Hypothesis) -> str:
    """The part that a hypothesis is counted under."""
    return one.parts[0] if one.parts else ""


def learned(base: Priors, cures: Mapping[str, int]) -> Priors:
    """Priors that know what has cured boards of this type."""
    return replace(base, cures=dict(cures))


#: Boards just made: joints, bridges, parts left out, turned or mixed up.
NEW = Priors(
    kinds={
        Kind.BOARD: 0.80,
        Kind.FIXTURE: 0.03,
        Kind.CABLE: 0.03,
        Kind.CONTACT: 0.03,
        Kind.INSTRUMENT: 0.03,
        Kind.GOOD: 0.03,
        Kind.UNKNOWN: 0.05,
    },
    defects={
        Defect.OPEN: 0.35,
        Defect.BRIDGE: 0.15,
        Defect.SHORT: 0.20,
        Defect.VALUE: 0.15,
        Defect.MISSING: 0.05,
        Defect.REVERSED: 0.08,
        Defect.DEAD: 0.02,
    },
)
#: Boards that come back: parts that have failed, joints that have cracked.
RETURNED = replace(
    NEW,
    defects={
        Defect.OPEN: 0.45,
        Defect.SHORT: 0.42,
        Defect.DEAD: 0.05,
        Defect.BRIDGE: 0.03,
        Defect.VALUE: 0.03,
        Defect.MISSING: 0.01,
        Defect.REVERSED: 0.01,
    },
)
