"""The boards that may come into the nest, by the cable that is fitted: parts by serial, a fault perhaps, charge."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from random import Random

import numpy as np

from batchtest.circuits import Assembly, BenchModel, draw_values, join, nominal_values, with_fault
from batchtest.errors import SetupError, nearest
from batchtest.files.bench import Simulation
from batchtest.files.hosts import HostSetup
from batchtest.files.library import Setup
from batchtest.simulated.board import Board, Nominal

#: Serial of the board that is kept for challenges: it has never a fault.
GOLDEN = "golden"
#: A board's own time constants differ from the test point's by up to this share.
SETTLE_SPREAD = 0.2
#: Share of boards that come with residual charge, and of those that come with much of it.
CHARGED, MUCH_CHARGED = 0.5, 0.05
#: Residual voltage at most, V: of most boards, and of a few.
CHARGE_V, MUCH_CHARGE_V = 0.3, 3.0
#: A point that carries less than this when powered holds no charge, V.
_HOLDS_CHARGE_V = 0.1


def simulation_of(setup: Setup | HostSetup) -> Simulation:
    """What is simulated; raises SetupError for a bench that has real instruments."""
    if setup.bench.simulation is None:
        raise SetupError(f"bench {setup.bench_name!r} has no [simulation]; name a simulated bench or add the table")
    return setup.bench.simulation


def terminals_of(setup: Setup) -> dict[str, tuple[str, str]]:
    """Plus and minus terminal of each point of the fixture."""
    return {name: (point.plus, point.minus) for name, point in setup.fixture.points.items()}


def truly_fitted(setup: Setup, asked: str | None = None) -> str:
    """Name of the cable that truly comes when one is asked for (the fixture's, where none is named).

    Another may lie in the drawer of the fixture's own, as `[simulation]` says; every other comes true.
    """
    own, swapped = setup.fixture.cable, simulation_of(setup).cable
    return swapped if swapped is not None and asked in (None, own) else asked or own


def assembly_of(setup: Setup, cable: str) -> Assembly:
    """The nest, a cable of the library, and a board, as one circuit without a fault.

    Raises
    ------
    SetupError : there is no such cable, or it names pins that the connectors do not have.
    """
    if cable not in setup.cables:
        raise SetupError(f"no cable {cable!r}; {nearest(cable, list(setup.cables))}")
    return join(setup.fixture_circuit, setup.cables[cable], setup.board_circuit)


def fault_of(setup: Setup, serial: str) -> str | None:
    """The fault of a serial, such as "DZ12 short", or `None` for a good board; the same whenever it is asked for."""
    simulation = simulation_of(setup)
    if serial == GOLDEN:
        return None
    if serial in simulation.boards:
        return simulation.boards[serial] or None
    random = Random(f"{simulation.seed}/{serial}/fault")
    if random.random() >= float(simulation.defect_rate):
        return None
    return random.choice(simulation.faults or _all_faults(setup))


def _all_faults(setup: Setup) -> tuple[str, ...]:
    parts = setup.board_circuit.parts.part
    return tuple(f"{name} {mode}" for name, part in parts.items() for mode in part.modes)


@dataclass(frozen=True, slots=True)
class Joined:
    """Nest and board joined by one cable: the circuit without a fault, and how it settles with nominal parts."""

    good: Assembly
    nominal: Nominal


class Stock:
    """All boards that there could be, by serial and by the cable that joins them; the last few are kept ready.

    A serial always gives the same board under the same seed, whatever the cable.

    Raises
    ------
    SetupError : the bench has real instruments.
    NoOperatingPoint : by the fixture's own cable the circuit has no solution even with nominal parts.
    """

    _KEPT = 16

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._seed = simulation_of(setup).seed
        self._joined = lru_cache(self._KEPT)(self._join)
        self._models = lru_cache(self._KEPT)(self._model)
        self._boards = lru_cache(self._KEPT)(self._drawn)
        self._nominal_V = self._powered_V()

    def joined(self, cable: str) -> Joined:
        """The circuit by a cable of the library; raises SetupError where there is no such cable, or it does not fit."""
        return self._joined(cable)

    def board(self, serial: str, cable: str) -> Board:
        """The board of a serial, joined to the nest by a cable.

        Raises
        ------
        SetupError : `[simulation]` gives it a fault that its circuit cannot have; or as `joined`.
        """
        return self._boards(serial, cable)

    def _join(self, cable: str) -> Joined:
        good = assembly_of(self._setup, cable)
        return Joined(good, Nominal(BenchModel.of(good, self._setup.fixture), nominal_values(good)))

    def _model(self, cable: str, fault: str) -> BenchModel:
        return BenchModel.of(with_fault(self.joined(cable).good, fault), self._setup.fixture)

    def _powered_V(self) -> dict[str, float]:
        """Voltages of a nominal board at full supply, by the right cable: what a board may bring charge of."""
        full_V = float(self._setup.fixture.power.soft_start[-1])
        limit_A = float(self._setup.bench.supply.accuracy.current[-1].range)
        nominal = self.joined(self._setup.fixture.cable).nominal
        solution = nominal.model.powered(nominal.values, full_V, limit_A, {})
        return {name: float(solution.between(*ends)[0]) for name, ends in terminals_of(self._setup).items()}

    def _drawn(self, serial: str, cable: str) -> Board:
        fault, joined = fault_of(self._setup, serial), self.joined(cable)
        good, terminals = joined.good, terminals_of(self._setup)
        random = Random(f"{self._seed}/{serial}/board")
        pairs = dict.fromkeys(frozenset(ends) for ends in terminals.values())  # a point may be another one swapped
        own = {pair: 1 + random.uniform(-SETTLE_SPREAD, SETTLE_SPREAD) for pair in pairs}
        return Board(
            serial=serial,
            fault=fault,
            model=joined.nominal.model if fault is None else self._models(cable, fault),
            nominal=joined.nominal,
            values=draw_values(good, seed=self._seed, serials=[serial]),
            terminals=terminals,
            settle_s={name: own[frozenset(ends)] * max(map(good.settle_s, ends)) for name, ends in terminals.items()},
            bleed_s={name: own[frozenset(ends)] * max(map(good.bleed_s, ends)) for name, ends in terminals.items()},
            charge_V=self._charge(random),
        )

    def _charge(self, random: Random) -> dict[str, float]:
        chance = random.random()
        most_V = MUCH_CHARGE_V if chance < MUCH_CHARGED else CHARGE_V if chance < CHARGED else 0.0
        share = random.uniform(0.3, 1.0) * most_V
        return {
            name: float(np.copysign(min(share, abs(volts)), volts)) if share and abs(volts) > _HOLDS_CHARGE_V else 0.0
            for name, volts in self._nominal_V.items()
        }
