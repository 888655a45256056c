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
from batchtest.records.columns import COLUMNS, UCUM, UNITS, Column
from batchtest.records.marks import MARKS, marks_of

#: The property of the description that holds the context.
BLOCK = "urn:batchtest:record"
#: The format that is written. A description without the key "format" is of format 1; tests/test_records/old/ keeps
#: records of every one, and says when and how it goes up.
#: 1 had no `format`, and nothing in the context after `kind`; 2 knew no outlets, and no value in seconds.
FORMAT = 3

#: RFC 4180 in the words of the vocabulary.
DIALECT = {"encoding": "utf-8", "lineTerminators": ["\r\n"], "quoteChar": '"', "doubleQuote": True, "header": True}


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """All that is known of an attempt when its record is closed.

    `proof` names the readings that proved it safe to power; `duration_s` is of the monotonic clock, whatever the wall
    clock did between `context.started` and `ended`. What follows `previous_sha256` came later: `abort_cause` says in a
    word what ended an attempt before its procedure was worked through, empty where nothing did; `sequence` is the
    record's number among the links of its station, `None` in older records; `format` is that of the record; `torn` is
    the beginning of a line that was never finished, one letter a byte (ISO 8859-1): no reading, and kept.
    """

    context: Context
    outcome: Outcome
    first_cause: str | None
    ended: datetime
    duration_s: float
    proof: tuple[str, ...]
    csv_sha256: str
    previous_sha256: str
    abort_cause: str = ""
    sequence: int | None = None
    format: int = 1
    torn: str = ""


@dataclass(frozen=True, slots=True)
class Sealed:
    """A closing as it was read, the hash it carries, and whether that hash is the one it should carry."""

    closing: Closing
    sha256: str
    intact: bool


_CLOSING = TypeAdapter(Closing)


def describe(csv_name: str, closing: Closing, data: bytes) -> tuple[str, str]:
    """The text of the metadata file, and the record's own hash in the chain.

    Parameters
    ----------
    data : the bytes of the CSV file, whose rows and columns are marked.

    Raises
    ------
    RecordError : the context holds a number that is not finite, or text that is not Unicode.
    """
    try:
        block: dict[str, Any] = _CLOSING.dump_python(closing, mode="json")
        if not closing.torn:
            del block["torn"]
        block[MARKS] = marks_of(block, data)
        sha256 = hash_of(block)
    except ValueError as error:
        raise RecordError(f"{csv_name}: the context cannot be written: {error}") from error
    return laid_out({**frame(csv_name), BLOCK: {**block, "sha256": sha256}}), sha256


def frame(csv_name: str) -> dict[str, Any]:
    """What a description says of every record alike: all but its context."""
    return {
        "@context": "http://www.w3.org/ns/csvw",
        "url": csv_name,
        "dialect": DIALECT,
        "null": "",
        "tableSchema": {"columns": [_described(column) for column in COLUMNS], "primaryKey": "number"},
    }


def laid_out(described: dict[str, Any]) -> str:
    """A JSON object as it stands in a file."""
    return json.dumps(described, indent=1, ensure_ascii=False) + "\n"


def read_description(text: str, file: str) -> Sealed:
    """Read a metadata file back.

    Raises
    ------
    RecordError : names the file and the key that is damaged or missing; or it is of a format to come.
    """
    try:
        block = json.loads(text)[BLOCK]
        if (found := block.get("format", 1)) > FORMAT:
            reads = f"this batchtest reads up to {FORMAT}; read it with a newer one"
            raise RecordError(f"{file}: is of format {found}, and {reads}")
        sha256 = block.pop("sha256")
        return Sealed(_CLOSING.validate_python(block), sha256, intact=hash_of(block) == sha256)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise RecordError(f"{file}: {where}: {first['msg']}; the record is damaged") from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(f"{file}: is no description of a record ({error!r}); the record is damaged") from error


def hash_of(block: dict[str, Any]) -> str:
    """The hash that a description of this content carries; raises KeyError where it lacks what it is made of."""
    return link_hash(block["previous_sha256"], block["csv_sha256"], canonical(block))


def _described(column: Column) -> dict[str, object]:
    """A column in the vocabulary's words: its title is what stands in the header, units are UCUM codes (schema.org)."""
    described: dict[str, object] = {
        "name": column.name,
        "titles": column.name,
        "dc:description": column.title,
        "datatype": {"base": "string", "format": "|".join(UNITS)} if column.name == "unit" else column.datatype,
    }
    if column.name == "unit":
        described["schema:valueReference"] = [
            {"@type": "schema:PropertyValue", "schema:value": unit, "schema:unitCode": f"UCUM:{UCUM[unit]}"}
            for unit in UNITS
        ]
    if column.unit:
        described["schema:unitText"] = column.unit
    if column.unit in UCUM:
        described["schema:unitCode"] = f"UCUM:{UCUM[column.unit]}"
    if column.required:
        described["required"] = True
    return described
