"""Prints of a record's certificate: each is numbered, and a record of its own in the station's chain.

`reports/<batch>/<serial>.<attempt>.certificate-<n>.json` says when and for whom it was printed, of which record, and
the hash of the PDF, so that a sheet that turns up later can be told from one that was never printed here.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from batchtest.errors import RecordError
from batchtest.records.chain import Chain
from batchtest.records.disk import sync_folder, write_all
from batchtest.records.linked import Shelf
from batchtest.records.names import AttemptName

_PDF = ".pdf"


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One print of a certificate.

    Parameters
    ----------
    number : counted from 1 for its attempt; 0 until it is printed.
    printed : wall time with offset.
    by : who had it printed.
    record_sha256 : hash of the record that it shows.
    head_sha256 : the newest link of the station's chain then, as it stands on the sheet: the one before this print.
    pdf : path of the PDF when it was written.
    sha256 : its own hash in the chain; empty until it is printed.
    """

    number: int
    batch: str
    station: str
    serial: str
    attempt: int
    printed: datetime
    by: str
    workshop: str
    software: str
    record_sha256: str
    head_sha256: str = ""
    pdf: str = ""
    pdf_sha256: str = ""
    sha256: str = ""


_PRINT = TypeAdapter(Print)


def write_print(reports: Path, wanted: Print, typeset: Callable[[Print], bytes], out: Path | None = None) -> Print:
    """Number a print, have its PDF set, and put both on the disk; the print is given back complete.

    Parameters
    ----------
    wanted : number, head, PDF and hashes are filled in.
    typeset : makes the PDF of a print whose number and head are known.
    out : where the PDF goes; beside the record without it. A file that is there is not overwritten.

    Raises
    ------
    RecordError : it is not on the disk, and no file of it is left; or an earlier print is damaged.
    """
    name = AttemptName(wanted.serial, wanted.attempt)
    folder, shelf = reports / wanted.batch, _shelf(name)
    read_prints(reports, wanted.batch, name)

    def complete(numbered: Print, chain: Chain, undo: ExitStack) -> Print:
        path = out or shelf.path(folder, numbered.number, _PDF)
        known = replace(numbered, head_sha256=chain.previous, pdf=path.as_posix())
        data = typeset(known)
        _write_new(path, data, undo)
        return replace(known, pdf_sha256=hashlib.sha256(data).hexdigest())

    lost = f"the certificate of {wanted.serial} attempt {wanted.attempt} is not printed"
    return shelf.write(reports, wanted, lost, complete)


def read_prints(reports: Path, batch: str, name: AttemptName) -> tuple[Print, ...]:
    """Every print of an attempt by number, verified.

    Raises
    ------
    RecordError : one is damaged, altered, or was taken out; names the file and the cure.
    """
    shelf = _shelf(name)
    found = shelf.read(reports, batch)
    for known in found:
        if AttemptName(known.serial, known.attempt) != name:
            path = shelf.path(reports / batch, known.number)
            raise RecordError(f"{path} is of {known.serial} attempt {known.attempt}; it was moved, put it back")
    return found


def as_table(known: Print) -> dict[str, Any]:
    """A print as the JSON object that its file holds, but for the chain."""
    table: dict[str, Any] = _PRINT.dump_python(known, mode="json")
    return table


def _shelf(name: AttemptName) -> Shelf[Print]:
    return Shelf("print of a certificate", _PRINT, f"{name.serial}.{name.number}.certificate-")


def _write_new(path: Path, data: bytes, undo: ExitStack) -> None:
    """Write a file that is not there yet; raises OSError where it is."""
    file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
    undo.callback(path.unlink, missing_ok=True)
    try:
        write_all(file, data)
    finally:
        os.close(file)
    sync_folder(path.parent)
