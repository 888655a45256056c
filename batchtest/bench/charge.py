"""What passes between a station and its guardian: the charge at the start, single bytes after it, reports in return."""

from __future__ import annotations

import base64
import json
import pickle
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from batchtest.bench.dialect import LoadDialect, SupplyDialect
from batchtest.files.bench import Load, Supply
from batchtest.nouns import Role

#: From the station: outputs may go on from here; the working thread lives; they were read back as off; the bench is off
#: and closed. `ARM` is answered with an "armed" report, the others with nothing.
ARM, BEAT, SAFE, END = b"A", b"B", b"S", b"E"


@dataclass(frozen=True, slots=True, kw_only=True)
class Charged:
    """One output that a guardian answers for; `identity` is what its `*IDN?` must answer.

    `alone`: it takes one connection, which the station holds.
    """

    role: Role
    instrument: Load | Supply
    dialect: LoadDialect | SupplyDialect
    identity: str

    @property
    def alone(self) -> bool:
        """Whether it is known to take one connection only, which the station holds."""
        return self.instrument.connections == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """All that a guardian must know: the outputs in the order in which they go off, and how long silence may last.

    `station` is the process that is watched; `folder` takes the log; `visa` is the bench file's.
    """

    station: int
    bench: str
    folder: Path
    heartbeat_s: float
    outputs: tuple[Charged, ...]
    visa: str = "@py"

    def as_line(self) -> bytes:
        """One line of bytes; a guardian is of the same program and trusts what comes from its own parent."""
        return base64.b64encode(pickle.dumps(self)) + b"\n"

    @classmethod
    def of_line(cls, line: bytes) -> Charge:
        """Back from a line."""
        charge = pickle.loads(base64.b64decode(line))
        assert isinstance(charge, cls)
        return charge


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a guardian tells its station: "ready", "armed", "acting" or, when it is done, "acted"; a text for people.

    `unreached` is of "ready": role -> why that output cannot be reached beside the station's own link.
    """

    kind: str
    said: str = ""
    unreached: Mapping[str, str] = field(default_factory=dict)

    def as_line(self) -> bytes:
        """One line of JSON."""
        return json.dumps({"kind": self.kind, "said": self.said, "unreached": dict(self.unreached)}).encode() + b"\n"

    @classmethod
    def of_line(cls, line: bytes) -> Report:
        """Back from a line."""
        return cls(**json.loads(line))
