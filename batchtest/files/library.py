"""The files of a project's folder, by name: limits, fixture, cable, bench and circuits, checked as a whole."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from batchtest.errors import Fault, FileFaults, SetupError, nearest
from batchtest.files.bench import BenchFile
from batchtest.files.cable import CableFile
from batchtest.files.checks_fixture import (
    cable_against_circuits,
    fixture_against_bench,
    fixture_against_cable,
    fixture_against_circuits,
)
from batchtest.files.checks_limits import limits_against_bench, limits_against_fixture
from batchtest.files.checks_simulation import simulated_faults, simulated_names, simulated_needles
from batchtest.files.circuit import CircuitFile
from batchtest.files.fixture import FixtureFile
from batchtest.files.limits import LimitsFile
from batchtest.files.positions import Key
from batchtest.files.read import Document, read_document
from batchtest.files.reading import Reading


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything that is tested with, read and checked; `cable` is the fixture's, `cables` are all of the library.

    `hashes`: file, from the root, -> SHA-256 of its bytes.
    """

    root: Path
    board: str
    fixture_name: str
    bench_name: str
    limits: LimitsFile
    fixture: FixtureFile
    cable: CableFile
    bench: BenchFile
    board_circuit: CircuitFile
    fixture_circuit: CircuitFile
    cables: Mapping[str, CableFile]
    hashes: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Library:
    """All cables by name, and what they may be plugged into: boards, hosts, and fixtures with their circuits."""

    cables: Mapping[str, CableFile]
    boards: Mapping[str, CircuitFile]
    hosts: Mapping[str, CircuitFile]
    fixtures: Mapping[str, FixtureFile]


def fixture_names(root: Path) -> list[str]:
    """Names of the fixtures in a project's folder, sorted."""
    return _names(root / "fixtures", "*.toml")


def host_fixture_names(root: Path) -> list[str]:
    """Names of the hosts' fixtures in a project's folder, sorted."""
    return _names(root / "fixtures" / "hosts", "*.toml")


def outlet_names(root: Path) -> list[str]:
    """Names of the hosts' outlets in a project's folder, sorted."""
    return _names(root / "fixtures" / "outlets", "*.toml")


def bench_names(root: Path) -> list[str]:
    """Names of the benches in a project's folder, sorted."""
    return _names(root / "fixtures" / "benches", "*.toml")


def cable_names(root: Path) -> list[str]:
    """Names of the cables in a project's folder, sorted."""
    return _names(root / "fixtures" / "cables", "*.toml")


def board_names(root: Path) -> list[str]:
    """Names of the boards that have limits in a project's folder, sorted; those of outlets are no boards'."""
    found = {*_names(root / "limits", "*.toml"), *_names(root / "limits", "*.csv")}
    return sorted(found - set(outlet_names(root)))


def load_bench(root: Path, name: str) -> BenchFile:
    """Read a bench by name; raises SetupError where there is none, FileFaults with every fault of its file."""
    _require(name, bench_names(root), "bench")
    bench = read_document(root / "fixtures" / "benches" / f"{name}.toml", root, BenchFile)
    faults = list(simulated_names(bench, fixture_names(root), cable_names(root)))
    if faults:
        raise FileFaults(faults)
    return bench.model


def load_cable(root: Path, name: str) -> CableFile:
    """Read a cable by name; raises SetupError where there is none, FileFaults with every fault of its file."""
    _require(name, cable_names(root), "cable")
    return read_document(root / "fixtures" / "cables" / f"{name}.toml", root, CableFile).model


def load_library(root: Path) -> Library:
    """Read every cable and all that cables may be plugged into.

    Boards are those that some cable takes; hosts those that some cable names, and the circuits of the fixtures.

    Raises
    ------
    FileFaults : every fault of every file at once.
    """
    reading = Reading(root)
    cables = _read_cables(reading)
    fixtures = {name: reading.table(root / "fixtures" / f"{name}.toml", FixtureFile) for name in fixture_names(root)}
    known = {name: document.model for name, document in fixtures.items() if document is not None}
    boards = _circuits(reading, cables, "takes", [])
    hosts = _circuits(reading, cables, "hosts", [fixture.circuit for fixture in known.values()])
    for document in fixtures.values():
        if document is not None:
            _note_strangers(reading, document, cables)
    if reading.faults:
        raise FileFaults(reading.faults)
    return Library({name: document.model for name, document in cables.items()}, boards, hosts, known)


def load_setup(root: Path, fixture: str, bench: str, board: str | None = None) -> Setup:
    """Read everything that a board is tested with, and check it as a whole.

    Parameters
    ----------
    root : the project's folder, with `limits/` and `fixtures/`.
    fixture, bench, board : names of files without ending; the board may be left out where the fixture takes one only.

    Raises
    ------
    SetupError : no such fixture or bench, or no such board on this fixture; says the nearest name.
    FileFaults : every fault of every file at once.
    """
    if fixture in host_fixture_names(root):
        raise SetupError(f"fixture {fixture!r} is a host's, and takes no boards: batchtest host {fixture}")
    if fixture in outlet_names(root):
        raise SetupError(f"fixture {fixture!r} is a host's outlet, and takes no boards: batchtest outlet {fixture}")
    _require(fixture, fixture_names(root), "fixture")
    _require(bench, bench_names(root), "bench")
    reading = Reading(root)
    files = _Files(
        fixture=reading.table(root / "fixtures" / f"{fixture}.toml", FixtureFile),
        bench=reading.table(root / "fixtures" / "benches" / f"{bench}.toml", BenchFile),
    )
    named = _named_in(root / "fixtures" / f"{fixture}.toml")
    files.board = _choose_board(fixture, named.takes, board)
    _read_named(reading, files, named)
    _check(reading, files, fixture)
    return _setup(reading, files, (fixture, bench))


@dataclass(slots=True)
class _Files:
    """The files of a setup, as far as they could be read."""

    fixture: Document[FixtureFile] | None = None
    bench: Document[BenchFile] | None = None
    limits: Document[LimitsFile] | None = None
    cables: dict[str, Document[CableFile]] = field(default_factory=dict)
    cable: Document[CableFile] | None = None
    board: str | None = None
    board_circuit: CircuitFile | None = None
    fixture_circuit: CircuitFile | None = None


@dataclass(frozen=True, slots=True)
class _Named:
    """What a fixture names: boards, cable, circuit; empty where its file does not say."""

    takes: tuple[str, ...] = ()
    cable: str = ""
    circuit: str = ""


def _names(folder: Path, pattern: str) -> list[str]:
    return sorted(path.stem for path in folder.glob(pattern) if path.is_file())


def _require(name: str, known: list[str], kind: str) -> None:
    if name not in known:
        raise SetupError(f"no {kind} {name!r}; {nearest(name, known)}")


def _named_in(path: Path) -> _Named:
    """What a fixture names, even where its file has other faults: those of the named files are wanted all the same."""
    try:
        table: dict[str, Any] = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return _Named()
    takes, cable, circuit = table.get("takes"), table.get("cable"), table.get("circuit")
    return _Named(
        tuple(board for board in takes if isinstance(board, str)) if isinstance(takes, list) else (),
        cable if isinstance(cable, str) else "",
        circuit if isinstance(circuit, str) else "",
    )


def _choose_board(fixture: str, takes: tuple[str, ...], board: str | None) -> str | None:
    if board is None:
        if len(takes) > 1:
            raise SetupError(f"fixture {fixture!r} takes {', '.join(sorted(takes))}; name the board")
        return takes[0] if takes else None
    if takes and board not in takes:
        raise SetupError(f"fixture {fixture!r} does not take board {board!r}; {nearest(board, takes)}")
    return board


def _read_named(reading: Reading, files: _Files, named: _Named) -> None:
    """Read what the fixture names; a name without a file is a fault of the fixture."""
    root = reading.root
    for index, board in enumerate(named.takes):
        _note_unknown(reading, files.fixture, ("takes", index), board, ("limits", board_names(root)))
    if files.board is not None and files.board in board_names(root):
        files.limits = reading.limits(files.board)
        files.board_circuit = reading.circuit(files.board)
    files.cables = _read_cables(reading)
    if _note_unknown(reading, files.fixture, ("cable",), named.cable, ("fixtures/cables", cable_names(root))):
        files.cable = files.cables.get(named.cable)
    circuits = _names(root / "fixtures" / "circuits", "*.cir")
    if _note_unknown(reading, files.fixture, ("circuit",), named.circuit, ("fixtures/circuits", circuits)):
        files.fixture_circuit = reading.circuit(named.circuit)


def _read_cables(reading: Reading) -> dict[str, Document[CableFile]]:
    """Every cable of the library: what one cannot be told from matters as much as the one itself."""
    folder = reading.root / "fixtures" / "cables"
    read = {name: reading.table(folder / f"{name}.toml", CableFile) for name in cable_names(reading.root)}
    return {name: document for name, document in read.items() if document is not None}


def _circuits(
    reading: Reading, cables: Mapping[str, Document[CableFile]], key: str, others: list[str]
) -> dict[str, CircuitFile]:
    """The circuits that cables name under a key, and others, by name."""
    known = _names(reading.root / "fixtures" / "circuits", "*.cir")
    names = set(others)
    for cable in cables.values():
        for index, name in enumerate(getattr(cable.model, key)):
            names.add(name)
            if name not in known:
                wrong = f"there is no {name!r} in fixtures/circuits/; {nearest(name, known)}"
                reading.faults.append(cable.fault((key, index), wrong))
    read = {name: reading.circuit(name) for name in sorted(names) if name in known}
    return {name: circuit for name, circuit in read.items() if circuit is not None}


def _note_strangers(
    reading: Reading, fixture: Document[FixtureFile], cables: Mapping[str, Document[CableFile]]
) -> None:
    """Note a cable and a circuit that a fixture names and that are not there, and boards that no cable takes."""
    root, model = reading.root, fixture.model
    _note_unknown(reading, fixture, ("cable",), model.cable, ("fixtures/cables", cable_names(root)))
    circuits = _names(root / "fixtures" / "circuits", "*.cir")
    _note_unknown(reading, fixture, ("circuit",), model.circuit, ("fixtures/circuits", circuits))
    taken = sorted({board for cable in cables.values() for board in cable.model.takes})
    for index, board in enumerate(model.takes):
        if board not in taken and len(cables) == len(cable_names(root)):
            reading.faults.append(fixture.fault(("takes", index), f"no cable takes {board!r}; {nearest(board, taken)}"))


def _note_unknown(
    reading: Reading,
    fixture: Document[FixtureFile] | None,
    key: Key,
    name: str,
    known: tuple[str, list[str]],
) -> bool:
    """Whether a name that a fixture gives is known; where it is not, that is noted as a fault of the fixture."""
    folder, names = known
    if name not in names and fixture is not None:
        wrong = f"there is no {name!r} in {folder}/; {nearest(name, names)}"
        reading.faults.append(fixture.fault(key, wrong))
    return name in names


def _check(reading: Reading, files: _Files, fixture_name: str) -> None:
    """Run every check between files whose files could be read."""
    circuits = files.board_circuit, files.fixture_circuit
    reading.check(_board_is_named, files.limits, files.board)
    reading.check(limits_against_fixture, files.limits, files.fixture)
    reading.check(limits_against_bench, files.limits, files.bench)
    reading.check(fixture_against_bench, files.fixture, files.bench)
    reading.check(fixture_against_cable, files.fixture, files.cable, files.board)
    reading.check(fixture_against_circuits, files.fixture, *circuits)
    reading.check(cable_against_circuits, files.cable, *circuits)
    reading.check(simulated_names, files.bench, fixture_names(reading.root), cable_names(reading.root))
    simulation = files.bench.model.simulation if files.bench else None
    if simulation is not None and simulation.fixture == fixture_name:
        reading.check(simulated_faults, files.bench, simulation, *circuits)
        reading.check(simulated_needles, files.bench, simulation, files.fixture)


def _board_is_named(limits: Document[LimitsFile], board: str) -> Iterable[Fault]:
    if limits.model.board != board:
        yield limits.fault(("board",), f"is {limits.model.board!r} in the file of {board!r}; write {board!r}")


def _setup(reading: Reading, files: _Files, names: tuple[str, str]) -> Setup:
    if (
        reading.faults
        or files.limits is None
        or files.fixture is None
        or files.cable is None
        or files.bench is None
        or files.board is None
        or files.board_circuit is None
        or files.fixture_circuit is None
    ):
        raise FileFaults(reading.faults)
    return Setup(
        root=reading.root,
        board=files.board,
        fixture_name=names[0],
        bench_name=names[1],
        limits=files.limits.model,
        fixture=files.fixture.model,
        cable=files.cable.model,
        bench=files.bench.model,
        board_circuit=files.board_circuit,
        fixture_circuit=files.fixture_circuit,
        cables={name: document.model for name, document in files.cables.items()},
        hashes=reading.hashes,
    )
