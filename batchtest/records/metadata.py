"""What stands beside a record: the W3C description of its columns, and the context in which it was made.

`<serial>.<attempt>.csv-metadata.json` follows the Metadata Vocabulary for Tabular Data (W3C, 2015). The context is one
further property with a name of our own, `urn:batchtest:record`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError

from batchtest.errors import RecordError
from batchtest.nouns import Context, Outcome
from batchtest.records.chain import canonical, link_hash
from batchtest.records.columns import COLUMNS, Column

#: The property of the description that holds the context.
BLOCK = "urn:batchtest:record"

#: RFC 4180 in the words of the vocabulary.
DIALECT = {"encoding": "utf-8", "lineTerminators": ["\r\n"], "quoteChar": '"', "doubleQuote": True, "header": True}


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """All that is known of an attempt when its record is closed.

    `proof` names the readings that proved it safe to power; `duration_s` is of the monotonic clock, whatever the wall
    clock did between `context.started` and `ended`.
    """

    context: Context
    outcome: Outcome
    first_cause: str | None
    ended: datetime
    duration_s: float
    proof: tuple[str, ...]
    csv_sha256: str
    previous_sha256: str


@dataclass(frozen=True, slots=True)
class Sealed:
    """A closing as it was read, the hash it carries, and whether that hash is the one it should carry."""

    closing: Closing
    sha256: str
    intact: bool


_CLOSING = TypeAdapter(Closing)


def describe(csv_name: str, closing: Closing) -> tuple[str, str]:
    """The text of the metadata file, and the record's own hash in the chain.

    Raises
    ------
    RecordError : the context holds a number that is not finite, or text that is not Unicode.
    """
    try:
        block: dict[str, Any] = _CLOSING.dump_python(closing, mode="json")
        sha256 = _hash(block)
    except ValueError as error:
        raise RecordError(f"{csv_name}: the context cannot be written: {error}") from error
    described = {
        "@context": "http://www.w3.org/ns/csvw",
        "url": csv_name,
        "dialect": DIALECT,
        "null": "",
        "tableSchema": {"columns": [_described(column) for column in COLUMNS], "primaryKey": "number"},
        BLOCK: {**block, "sha256": sha256},
    }
    return json.dumps(described, indent=1, ensure_ascii=False) + "\n", sha256


def read_description(text: str, file: str) -> Sealed:
    """Read a metadata file back.

    Raises
    ------
    RecordError : names the file and the key that is damaged or missing.
    """
    try:
        block = json.loads(text)[BLOCK]
        sha256 = block.pop("sha256")
        return Sealed(_CLOSING.validate_python(block), sha256, intact=_hash(block) == sha256)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise RecordError(f"{file}: {where}: {first['msg']}; the record is damaged") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(f"{file}: is no description of a record ({error!r}); the record is damaged") from error


def _hash(block: dict[str, Any]) -> str:
    return link_hash(block["previous_sha256"], block["csv_sha256"], canonical(block))


def _described(column: Column) -> dict[str, object]:
    described: dict[str, object] = {"name": column.name, "titles": column.title, "datatype": column.datatype}
    if column.unit:
        described["schema:unitText"] = column.unit
    if column.required:
        described["required"] = True
    return described
