"""The record of an attempt while it grows: every line on the disk before the next is read, closed by a rename."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Self

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Context, Line, Outcome
from batchtest.records.begun import write_begun
from batchtest.records.claim import claim_part, is_file
from batchtest.records.disk import make_folder, on_disk, write_all
from batchtest.records.link import link_record
from batchtest.records.metadata import FORMAT, Closing
from batchtest.records.names import BEGUN, CSV, PART, AttemptName, checked_name
from batchtest.records.rows import header, row_of


class Journal:
    """One attempt's record, `reports/<batch>/<serial>.<attempt>.csv.part` until it is closed.

    Made by `Journal.claim`. As a context manager it is abandoned where the block ends without `close`.

    Parameters
    ----------
    context : with the attempt number that was claimed.
    path : the part file.
    """

    def __init__(self, reports: Path, name: AttemptName, context: Context, file: int) -> None:
        self.context = context
        self._lines: list[Line] = []
        self._reports = reports
        self._folder = reports / context.batch
        self._name = name
        self._file: int | None = file
        self._sha256 = hashlib.sha256()
        self._unsure: tuple[bytes, Line | None] = (b"", None)  # written, or not: an interrupt came while it was synced
        self._fault = f"{self.path} takes nothing more; it is closed already, or was given up"

    @classmethod
    def claim(cls, reports: Path, context: Context) -> Journal:
        """Claim the next attempt number of a serial by creating its part file; header and context go to the disk.

        Parameters
        ----------
        reports : the folder of all batches; it and the batch's folder are made where missing.
        context : its `attempt` is replaced by the number claimed.

        Raises
        ------
        SetupError : serial, batch or station cannot be part of a file name.
        RecordError : the disk does not take it.
        """
        checked_name(context.serial, "serial")
        checked_name(context.batch, "batch")
        checked_name(context.station, "station")
        folder = reports / context.batch
        with on_disk(f"no record of {context.serial} can be begun; do not test"):
            make_folder(folder)
            name, file = claim_part(folder, context.serial)
            own = replace(
                context,
                attempt=name.number,
                limits_sources=dict(context.limits_sources),
                file_hashes=dict(context.file_hashes),
            )
            journal = cls(reports, name, own, file)
            try:
                journal._append(header(), None)
                write_begun(name.path(folder, BEGUN), own)
            except (OSError, RecordError):
                journal.abandon()
                for ending in (BEGUN, PART):
                    with suppress(OSError):
                        name.path(folder, ending).unlink(missing_ok=True)
                raise
        return journal

    @property
    def path(self) -> Path:
        """The part file while it grows."""
        return self._name.path(self._folder, PART)

    @property
    def attempt(self) -> int:
        """The attempt number that was claimed, from 1."""
        return self._name.number

    @property
    def lines(self) -> list[Line]:
        """The lines that are on the disk."""
        self._decide()
        return self._lines

    def write(self, line: Line) -> None:
        """Put a line on the disk; when this returns it survives a power cut.

        Raises
        ------
        RecordError : it is not on the disk. Nothing more can be written, and the attempt cannot be closed.
        """
        with self._recording():
            self._append(row_of(line), line)

    def close(
        self,
        outcome: Outcome,
        first_cause: str | None,
        *,
        ended: datetime,
        duration_s: float,
        proof: Sequence[str] = (),
        abort_cause: str = "",
    ) -> Attempt:
        """Close the record: describe it, link it into the station's chain, give it its final name.

        Parameters
        ----------
        first_cause : what decided an outcome other than pass, in plain words.
        ended : wall time with offset.
        duration_s : of the monotonic clock.
        proof : names of the readings that proved it safe to power.
        abort_cause : in a word, what ended it before its procedure was worked through; empty where nothing did.

        Raises
        ------
        RecordError : the record is not closed; the part file is as it was and no other file of the attempt is left.
        """
        with self._recording():
            closing = Closing(
                context=self.context,
                outcome=outcome,
                first_cause=first_cause,
                ended=ended,
                duration_s=duration_s,
                proof=tuple(proof),
                csv_sha256=self._hash_on_disk(),
                previous_sha256="",
                abort_cause=abort_cause,
                format=FORMAT,
            )
            link_record(self._reports, closing)
            self.abandon()
        return Attempt(
            board=self.context.board,
            batch=self.context.batch,
            serial=self._name.serial,
            number=self._name.number,
            outcome=outcome,
            first_cause=first_cause,
            started=self.context.started,
            duration_s=duration_s,
            record=self._record,
            lines=tuple(self.lines),
        )

    def abandon(self) -> None:
        """Let go of the part file as it is; it stays on the disk and shows as open. Does nothing after `close`."""
        if self._file is not None:
            with suppress(OSError):
                os.close(self._file)
            self._file = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.abandon()

    @property
    def _record(self) -> str:
        """The closed record's path from the reports folder."""
        return f"{self._folder.name}/{self._name.path(self._folder, CSV).name}"

    @property
    def _open(self) -> int:
        assert self._file is not None
        return self._file

    @property
    def _lost(self) -> str:
        return f"{self._name.serial} attempt {self.attempt} is not recorded; the board must not leave the bench"

    def _append(self, row: bytes, line: Line | None) -> None:
        self._decide()
        self._unsure = (row, line)
        write_all(self._open, row)
        if not is_file(self._open, self.path):
            raise RecordError(f"{self.path} was taken away")
        self._settle()

    def _settle(self) -> None:
        """Take the row last written for written, all at once: an interrupt comes before or after."""
        row, line = self._unsure
        sha256, lines = self._sha256.copy(), [*self._lines, line] if line else self._lines
        sha256.update(row)
        self._sha256, self._lines, self._unsure = sha256, lines, (b"", None)

    def _decide(self) -> None:
        """Find out whether a row that an interrupt left unsure was written: as the file has it."""
        if self._file is None or not self._unsure[0]:
            return
        if self._found() == self._sha256.hexdigest():
            self._unsure = (b"", None)
        else:
            self._settle()

    def _found(self) -> str:
        """Hash of the part file as it is."""
        return hashlib.sha256(self.path.read_bytes()).hexdigest()

    @contextmanager
    def _recording(self) -> Iterator[None]:
        """Whatever goes wrong in here, the attempt is not recorded and the part file stays as it is."""
        if self._file is None:
            raise RecordError(self._fault)
        try:
            with on_disk(self._lost):
                yield
        except RecordError as error:
            self._fault = str(error)
            self.abandon()
            raise

    def _hash_on_disk(self) -> str:
        """Hash of the part file, which must be what was written; the row that an interrupt left unsure may be in it."""
        os.fdatasync(self._open)
        self._decide()
        found = self._found()
        if found != self._sha256.hexdigest():
            raise RecordError(f"{self.path} is not what was written; something else has changed it")
        return found
