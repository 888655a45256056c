"""The boards that may come into the nest: parts drawn by serial, a fault perhaps, and the charge they bring."""

from __future__ import annotations

from random import Random

import numpy as np

from batchtest.circuits import Assembly, BenchModel, draw_values, join, nominal_values, with_fault
from batchtest.errors import SetupError
from batchtest.files.bench import Simulation
from batchtest.files.fixture import input_point
from batchtest.files.library import Setup, load_cable
from batchtest.simulated.board import Board, Nominal

#: A board's own time constants differ from the test point's by up to this share.
SETTLE_SPREAD = 0.2
#: Share of boards that come with residual charge, and of those that come with much of it.
CHARGED, MUCH_CHARGED = 0.5, 0.05
#: Residual voltage at most, V: of most boards, and of a few.
CHARGE_V, MUCH_CHARGE_V = 0.3, 3.0
#: A point that carries less than this when powered holds no charge, V.
_HOLDS_CHARGE_V = 0.1


def simulation_of(setup: Setup) -> Simulation:
    """What is simulated; raises SetupError for a bench that has real instruments."""
    if setup.bench.simulation is None:
        raise SetupError(f"bench {setup.bench_name!r} has no [simulation]; name a simulated bench or add the table")
    return setup.bench.simulation


def terminals_of(setup: Setup) -> dict[str, tuple[str, str]]:
    """Plus and minus terminal of each point of the fixture."""
    return {name: (point.plus, point.minus) for name, point in setup.fixture.points.items()}


def model_of(setup: Setup, assembly: Assembly) -> BenchModel:
    """A circuit with the bench's sources at the fixture's points."""
    loads = {point.load: name for name, point in setup.fixture.points.items() if point.load is not None}
    return BenchModel(assembly, points=terminals_of(setup), input=input_point(setup.fixture), loads=loads)


def assembly_of(setup: Setup) -> Assembly:
    """The nest, the cable that is truly fitted, and a board, as one circuit without a fault."""
    fitted = simulation_of(setup).cable
    cable = setup.cable if fitted is None else load_cable(setup.root, fitted)
    return join(setup.fixture_circuit, cable, setup.board_circuit)


def fault_of(setup: Setup, serial: str) -> str | None:
    """The fault of a serial, such as "DZ12 short", or `None` for a good board; the same whenever it is asked for."""
    simulation = simulation_of(setup)
    if serial in simulation.boards:
        return simulation.boards[serial] or None
    random = Random(f"{simulation.seed}/{serial}/fault")
    if random.random() >= float(simulation.defect_rate):
        return None
    return random.choice(simulation.faults or _all_faults(setup))


def _all_faults(setup: Setup) -> tuple[str, ...]:
    parts = setup.board_circuit.parts.part
    return tuple(f"{name} {mode}" for name, part in parts.items() for mode in part.modes)


class Stock:
    """All boards that there could be, by serial; the last few are kept ready.

    A serial always gives the same board under the same seed.
    """

    _KEPT = 16

    def __init__(self, setup: Setup) -> None:
        self._setup = setup
        self._seed = simulation_of(setup).seed
        self._good = assembly_of(setup)
        self._models: dict[str | None, BenchModel] = {}
        self._boards: dict[str, Board] = {}
        self._nominal = Nominal(self._model(None), nominal_values(self._good))
        self._nominal_V = self._powered_V()

    def board(self, serial: str) -> Board:
        """The board of a serial.

        Raises
        ------
        SetupError : `[simulation]` gives it a fault that its circuit cannot have.
        """
        if serial not in self._boards:
            if len(self._boards) >= self._KEPT:
                self._boards.pop(next(iter(self._boards)))
            self._boards[serial] = self._drawn(serial)
        return self._boards[serial]

    def _powered_V(self) -> dict[str, float]:
        full_V = float(self._setup.fixture.power.soft_start[-1])
        limit_A = float(self._setup.bench.supply.accuracy.current[-1].range)
        solution = self._nominal.model.powered(self._nominal.values, full_V, limit_A, {})
        return {name: float(solution.between(*ends)[0]) for name, ends in terminals_of(self._setup).items()}

    def _model(self, fault: str | None) -> BenchModel:
        if fault not in self._models:
            if len(self._models) >= self._KEPT:
                self._models.pop(next(reversed(self._models)))
            assembly = self._good if fault is None else with_fault(self._good, fault)
            self._models[fault] = model_of(self._setup, assembly)
        return self._models[fault]

    def _drawn(self, serial: str) -> Board:
        fault = fault_of(self._setup, serial)
        random = Random(f"{self._seed}/{serial}/board")
        terminals = terminals_of(self._setup)
        own = {name: 1 + random.uniform(-SETTLE_SPREAD, SETTLE_SPREAD) for name in terminals}
        return Board(
            serial=serial,
            fault=fault,
            model=self._model(fault),
            nominal=self._nominal,
            values=draw_values(self._good, seed=self._seed, serials=[serial]),
            terminals=terminals,
            settle_s={n: own[n] * max(map(self._good.settle_s, ends)) for n, ends in terminals.items()},
            bleed_s={n: own[n] * max(map(self._good.bleed_s, ends)) for n, ends in terminals.items()},
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
