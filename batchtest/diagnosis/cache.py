"""Fault tables kept on disk, by the hash of all that they follow from; a file is whole or not there."""

from __future__ import annotations

import json
import os
import zipfile
from collections.abc import Iterator
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

import numpy as np

from batchtest.diagnosis.model import Column, Defect, Ends, FaultTable, Hypothesis, Kind, Spot
from batchtest.files.library import Setup
from batchtest.nouns import Measurand

#: Raised with every change of how tables are made or laid out: older files are made anew.
VERSION = 2
_ARRAYS = ("mean", "rough", "spread", "over", "limiting")


def key_of(setup: Setup) -> str:
    """Hash of circuits, limits, fixture, cables and the instruments' accuracy: what a table follows from."""
    found = sha256(f"fault table {VERSION}\n".encode())
    for text in _said(setup):
        found.update(text.encode() + b"\n")
    return found.hexdigest()


def _said(setup: Setup) -> Iterator[str]:
    yield from (setup.board, setup.fixture_name)
    yield setup.limits.model_dump_json()
    yield setup.fixture.model_dump_json()
    for circuit in (setup.board_circuit, setup.fixture_circuit):
        yield repr(circuit.netlist)
        yield circuit.parts.model_dump_json()
    for name in sorted(setup.cables):
        yield f"{name} {setup.cables[name].model_dump_json()}"
    bench = setup.bench
    yield f"{bench.ambient} {bench.reference.model_dump_json()} {bench.meter.integration} {bench.meter.readings}"
    yield f"{bench.meter.calibrated_at} {bench.load.channels}"
    yield from (one.accuracy.model_dump_json() for one in (bench.meter, bench.load, bench.supply))


def path_of(folder: Path, key: str) -> Path:
    """Where a table is kept; the name is hidden, so that no walk over records meets it."""
    return folder / f".faults-{key[:16]}.npz"


def load(folder: Path, key: str) -> FaultTable | None:
    """The table of a key, or `None` where there is none that is whole."""
    try:
        with path_of(folder, key).open("rb") as raw, np.load(raw, allow_pickle=False) as file:
            about = json.loads(str(file["about"]))
            arrays = {name: file[name] for name in _ARRAYS}
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, EOFError):
        return None
    return _table(about, arrays) if about.get("key") == key else None


def save(folder: Path, table: FaultTable) -> Path:
    """Keep a table; the file appears under its name once it is whole.

    Raises
    ------
    OSError : the folder cannot be written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = path_of(folder, table.key)
    with NamedTemporaryFile(dir=folder, prefix=path.name, delete=False) as file:
        try:
            arrays: dict[str, Any] = {name: getattr(table, name) for name in _ARRAYS}
            np.savez(file, about=np.array(json.dumps(_about(table))), **arrays)
            file.flush()
            os.fsync(file.fileno())
            Path(file.name).replace(path)
        except BaseException:
            Path(file.name).unlink(missing_ok=True)
            raise
    return path


def _about(table: FaultTable) -> dict[str, object]:
    return {
        "key": table.key,
        "board": table.board,
        "fixture": table.fixture,
        "states": table.states,
        "hypotheses": [asdict(one) for one in table.hypotheses],
        "columns": [asdict(one) for one in table.columns],
        "spots": [asdict(one) for one in table.spots.values()],
    }


def _table(about: dict[str, Any], arrays: dict[str, Any]) -> FaultTable:
    spots = [Spot(**{**one, "parts": tuple(one["parts"])}) for one in about["spots"]]
    return FaultTable(
        key=about["key"],
        board=about["board"],
        fixture=about["fixture"],
        states=tuple(about["states"]),
        hypotheses=tuple(_hypothesis(one) for one in about["hypotheses"]),
        columns=tuple(
            Column(**{**one, "measurand": Measurand(one["measurand"]), "ends": Ends(one["ends"])})
            for one in about["columns"]
        ),
        spots={spot.name: spot for spot in spots},
        **arrays,
    )


def _hypothesis(one: dict[str, Any]) -> Hypothesis:
    place = None if one["place"] is None else tuple(one["place"])
    typed = {"kind": Kind(one["kind"]), "defect": Defect(one["defect"]), "parts": tuple(one["parts"]), "place": place}
    return Hypothesis(**{**one, **typed})
