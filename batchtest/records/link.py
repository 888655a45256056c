"""A record linked into its station's chain: described, announced, given its final name. Whole, or not at all."""

from __future__ import annotations

from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path

from batchtest.records.chain import locked_chain
from batchtest.records.disk import sync_folder, write_whole
from batchtest.records.metadata import Closing, describe
from batchtest.records.names import BEGUN, CSV, METADATA, PART, AttemptName


def link_record(reports: Path, closing: Closing, whole: bytes | None = None) -> None:
    """Give the files of an attempt their final names; what was done so far is undone where something goes wrong.

    Parameters
    ----------
    closing : the hash of the record before and its own number in the chain are filled in.
    whole : what the record is to hold, where that is not all of the part file; the part file goes once this is there.

    Raises
    ------
    OSError, RecordError : it is not linked; the part file is as it was.
    """
    context = closing.context
    folder, name = reports / context.batch, AttemptName(context.serial, context.attempt)
    part, final, metadata = (name.path(folder, ending) for ending in (PART, CSV, METADATA))
    record = f"{folder.name}/{final.name}"
    with locked_chain(reports, context.station) as chain, ExitStack() as undo:
        data = part.read_bytes() if whole is None else whole
        linked = replace(closing, previous_sha256=chain.previous, sequence=chain.sequence)
        text, sha256 = describe(final.name, linked, data)
        chain.announce(sha256, record)
        undo.callback(metadata.unlink, missing_ok=True)
        write_whole(metadata, text)
        if whole is None:
            part.rename(final)
            undo.pop_all()
            undo.callback(_rename_back, final, part, metadata)
        else:
            undo.callback(final.unlink, missing_ok=True)
            write_whole(final, whole)
        sync_folder(folder)
        undo.pop_all()
        chain.finish(sha256, record)
    for left in (name.path(folder, BEGUN), *([] if whole is None else [part])):
        with suppress(OSError):
            left.unlink(missing_ok=True)


def _rename_back(final: Path, part: Path, metadata: Path) -> None:
    """Take the final name away again, and only then the description: no record is ever left without one."""
    final.rename(part)
    metadata.unlink()
