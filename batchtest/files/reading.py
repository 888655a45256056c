"""Reads the files of a project's folder one after another, goes on after a fault, and keeps all faults and hashes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from batchtest.errors import Fault, FileFaults
from batchtest.files.circuit import CircuitFile
from batchtest.files.fields import Table
from batchtest.files.limits import LimitsFile
from batchtest.files.limits_csv import read_limits_csv
from batchtest.files.parts import load_circuit
from batchtest.files.read import Document, name_in, read_bytes, read_document

TableT = TypeVar("TableT", bound=Table)


@dataclass(slots=True)
class Reading:
    """Reads files, goes on after a fault, and keeps all faults and hashes."""

    root: Path
    faults: list[Fault] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)

    def table(self, path: Path, model: type[TableT]) -> Document[TableT] | None:
        """A TOML file as a model; `None` where it has faults."""
        return self._kept(lambda: read_document(path, self.root, model))

    def limits(self, board: str) -> Document[LimitsFile] | None:
        """A board's limits, TOML or CSV; `None` where they have faults, or are there twice."""
        toml, csv = (self.root / "limits" / f"{board}{ending}" for ending in (".toml", ".csv"))
        if toml.exists() and csv.exists():
            wrong = f"stands beside {name_in(self.root, toml)}; keep one of the two, so that nobody edits the other"
            self.faults.append(Fault(name_in(self.root, csv), 0, "", wrong))
            return None
        return self._kept(lambda: read_limits_csv(csv, self.root)) if csv.exists() else self.table(toml, LimitsFile)

    def circuit(self, name: str) -> CircuitFile | None:
        """A circuit by name; `None` where it has faults."""
        folder = self.root / "fixtures" / "circuits"
        try:
            circuit = load_circuit(folder, name, self.root)
            for path in (folder / f"{name}.cir", folder / f"{name}.parts.toml"):
                self.hashes[name_in(self.root, path)] = sha256(read_bytes(path, self.root)).hexdigest()
        except FileFaults as error:
            self.faults += error.faults
            return None
        return circuit

    def _kept(self, read: Callable[[], Document[TableT]]) -> Document[TableT] | None:
        try:
            document = read()
        except FileFaults as error:
            self.faults += error.faults
            return None
        self.hashes |= document.hashes
        return document

    def check(self, check: Callable[..., Iterable[Fault]], *files: object) -> None:
        """Run a check where everything that it looks at could be read."""
        if all(file is not None for file in files):
            self.faults += check(*files)
