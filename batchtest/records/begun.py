"""What an attempt is made with, on the disk before its first line: so that one cut short can be told of.

`<serial>.<attempt>.csv-metadata.json.part` holds the context, and goes when the attempt is closed.
"""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import TypeAdapter

from batchtest.errors import RecordError
from batchtest.nouns import Context
from batchtest.records.disk import on_disk, write_whole

_CONTEXT = TypeAdapter(Context)


def write_begun(path: Path, context: Context) -> None:
    """Put the context of an attempt on the disk; its name is synced, and with it all names in the folder.

    Raises
    ------
    RecordError : the context holds a number that is not finite, or text that is not Unicode.
    OSError : the disk does not take it.
    """
    try:
        text = json.dumps(_CONTEXT.dump_python(context, mode="json"), indent=1, ensure_ascii=False, allow_nan=False)
        content = text.encode() + b"\n"
    except ValueError as error:
        raise RecordError(f"{path.name}: the context cannot be written: {error}") from error
    write_whole(path, content)


def read_begun(path: Path) -> Context:
    """Read it back.

    Raises
    ------
    RecordError : it is not there, or damaged; names the file.
    """
    with on_disk(f"{path} cannot be read"):
        text = path.read_bytes()
    try:
        return _CONTEXT.validate_json(text)
    except ValueError as error:  # pydantic's ValidationError is one too
        raise RecordError(f"{path} is damaged; it does not say what its attempt was made with") from error
