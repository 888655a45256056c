"""The link of an attempt: its description and its CSV file, checked against each other and against their hashes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from batchtest.records.chain import canonical
from batchtest.records.damage import Damage, Link, moment, salvaged
from batchtest.records.disk import on_disk
from batchtest.records.marks import MARKS, QUOTES, changed_cells, changed_keys, marks_of
from batchtest.records.metadata import BLOCK, frame, hash_of, laid_out
from batchtest.records.names import CSV, METADATA
from batchtest.records.unfinished import CAUSE

#: What descriptions of each format say of every record alike, as SHA-256 of its canonical text without "url".
FRAMES = frozenset(
    {
        "f73fa9d1efd1e6819a15dfe733056af5eddd218334fb201028353964b1dd46bc",
        "166aa3b02116e58d45bfc952fbe6f55a0ed4f60ecf642e6385806744f46ceba0",
        "6b47cae8be4c4a27cd57ec1e698b14c83ab58b371a57f8ef4e1b50a93f6db10b",
    }
)


def attempt_link(path: Path) -> Link:
    """Read the link of an attempt from its description.

    Parameters
    ----------
    path : `<serial>.<attempt>.csv-metadata.json`; the CSV file is beside it.

    Raises
    ------
    RecordError : the description cannot be read from the disk.
    """
    csv = path.with_name(path.name.removesuffix(METADATA) + CSV)
    record = f"{csv.parent.name}/{csv.name}"
    with on_disk(f"{path} cannot be read"):
        data = path.read_bytes()
    try:
        described = json.loads(data.decode())
        around = {key: value for key, value in described.items() if key != BLOCK}
        block = {key: value for key, value in described[BLOCK].items() if key != "sha256"}
        sha256, due = str(described[BLOCK]["sha256"]), hash_of(block)
        context = block["context"]
        place = f"{context['batch']}/{context['serial']}.{context['attempt']}{CSV}"
        station = str(context["station"])
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        return salvaged(record, data, f"cannot be read any more ({error!r})", path.name)
    damage = [*_block_faults(record, block, sha256, due), *_csv_faults(record, csv, block)]
    if not damage:
        damage = [*_frame_faults(record, csv.name, around), *_place_faults(record, place)]
    if not damage and laid_out(described).encode() != data:
        damage = [Damage(record=record, field=path.name, what="blanks or line ends are not as they were written")]
    return Link(
        record=record,
        station=station,
        previous=block["previous_sha256"],
        sha256=sha256,
        due=due,
        at=None if str(block.get("first_cause")).startswith(CAUSE) else moment(block.get("ended")),
        sequence=block.get("sequence"),
        outcome=str(block.get("outcome")),
        marked=MARKS in block,
        damage=tuple(damage),
    )


def _block_faults(record: str, block: Mapping[str, Any], sha256: str, due: str) -> Iterator[Damage]:
    """What of the context is not what was closed."""
    if due == sha256:
        return
    field, marks = "its context", block.get(MARKS)
    if isinstance(marks, Mapping):
        keys = changed_keys(marks, block)
        field = ", ".join(keys) if keys else f"sha256, or {MARKS}"
        mended = {**block, MARKS: {**marks, "keys": marks_of(block, b"")["keys"]}}
        if keys and hash_of(mended) == sha256:
            field = f"{MARKS}, of {field}"
    yield Damage(record=record, field=field, what="is not what was closed: the hash of the context is another")


def _csv_faults(record: str, csv: Path, block: Mapping[str, Any]) -> Iterator[Damage]:
    """What of the lines is not what was closed; nothing where it is the hash kept of them that was changed."""
    if not csv.exists():
        yield Damage(record=record, field="", what="was taken out; its description is still there")
        return
    with on_disk(f"{csv} cannot be read"):
        data = csv.read_bytes()
    if hashlib.sha256(data).hexdigest() == block["csv_sha256"]:
        return
    field, marks = "its lines", block.get(MARKS)
    if isinstance(marks, Mapping):
        field = changed_cells(marks, data) or field
        if field == QUOTES and "csv_sha256" in changed_keys(marks, block):
            return
    yield Damage(record=record, field=field, what="is not what was closed: the hash of the lines is another")


def _frame_faults(record: str, csv_name: str, around: Mapping[str, Any]) -> Iterator[Damage]:
    """What of the description outside the context is not what this or an earlier format writes."""
    known = frame(csv_name)
    rest = {key: value for key, value in around.items() if key != "url"}
    if hashlib.sha256(canonical(rest).encode()).hexdigest() in FRAMES:
        known = {**rest, "url": csv_name}
    for key in {**known, **around}:
        if known.get(key) != around.get(key):
            yield Damage(record=record, field=f"description, {key}", what="is not what was written")


def _place_faults(record: str, place: str) -> Iterator[Damage]:
    if place != record:
        yield Damage(record=record, field="name", what=f"belongs to {place}; it was moved, renamed or copied")
