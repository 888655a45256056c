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
        try:
            document = read_document(path, self.root, model)
        except FileFaults as error:
            self.faults += error.faults
            return None
        self.hashes |= document.hashes
        return document

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

    def check(self, check: Callable[..., Iterable[Fault]], *files: object) -> None:
        """Run a check where everything that it looks at could be read."""
        if all(file is not None for file in files):
            self.faults += check(*files)
