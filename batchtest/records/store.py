"""Where gathered files lie: beside the records, or in one folder or object store that many stations write to.

A file appears whole or not at all. In a store each station has a folder of its own, `station=<s>/batch=<b>/`, so that
no two write the same file; `<s>` and `<b>` are found again as columns by whatever reads such a tree.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Protocol

from batchtest.errors import RecordError, SetupError
from batchtest.records.disk import on_disk, sync_folder
from batchtest.records.names import checked_name
from batchtest.records.parquet import Stamp, connection, stamps
from batchtest.records.record import Raw

if TYPE_CHECKING:
    import duckdb
    from fsspec import AbstractFileSystem

FILE = "readings.parquet"
#: Writes a file at a path that is not its last one, and gives the count of its lines.
Write = Callable[[Path], int]


class Store(Protocol):
    """A place for gathered files; `part` is what tells the files of one batch apart."""

    def split(self, records: Iterable[Raw]) -> dict[str, list[Raw]]:
        """Records of one batch by the part that they go to."""
        ...

    def stamps(self, batches: Sequence[Path]) -> dict[str, dict[str, Stamp]]:
        """What is there: batch -> part -> what its file says of itself."""
        ...

    def put(self, batch: Path, part: str, write: Write) -> tuple[str, int]:
        """Have a file written and put in place whole; gives its path or URL, and the count of lines."""
        ...


class Beside:
    """Each batch's file lies in the batch's own folder, with the lines of all stations; the one part is ""."""

    def split(self, records: Iterable[Raw]) -> dict[str, list[Raw]]:
        """All in one, a batch without a record too."""
        return {"": list(records)}

    def stamps(self, batches: Sequence[Path]) -> dict[str, dict[str, Stamp]]:
        """Of the files that are there."""
        paths = {str(batch / FILE): batch for batch in batches if (batch / FILE).exists()}
        with connection() as database:
            found = stamps(database, list(paths))
        return {str(paths[path]): {"": stamp} for path, stamp in found.items()}

    def put(self, batch: Path, part: str, write: Write) -> tuple[str, int]:
        """Put it into the batch's folder."""
        return _put_on_disk(batch / FILE, write)


class Tree:
    """`<root>/station=<s>/batch=<b>/readings.parquet`, in a folder or an object store; the parts are stations."""

    def __init__(self, files: AbstractFileSystem, root: str) -> None:
        self._files, self._root = files, root.rstrip("/")

    def split(self, records: Iterable[Raw]) -> dict[str, list[Raw]]:
        """By station; raises SetupError for a station whose name can be no folder."""
        found: dict[str, list[Raw]] = {}
        for record in records:
            station = checked_name(record.sealed.closing.context.station, "station")
            found.setdefault(station, []).append(record)
        return found

    def stamps(self, batches: Sequence[Path]) -> dict[str, dict[str, Stamp]]:
        """Of every file of these batches, whichever station wrote it."""
        by_name = {batch.name: str(batch) for batch in batches}
        with store_errors(self._root):
            urls = self.files()
            with self.connection() as database:
                told = stamps(database, urls)
        found: dict[str, dict[str, Stamp]] = {}
        for url, stamp in told.items():
            *_, station, batch, _ = url.split("/")
            if (name := batch.removeprefix("batch=")) in by_name:
                found.setdefault(by_name[name], {})[station.removeprefix("station=")] = stamp
        return found

    def files(self) -> list[str]:
        """Every file that is there, as a URL."""
        with store_errors(self._root):
            self._files.invalidate_cache()
            paths = self._files.glob(f"{self._root}/station=*/batch=*/{FILE}")
        return [self._files.unstrip_protocol(path) for path in paths]

    def connection(self) -> duckdb.DuckDBPyConnection:
        """A database that can read those files; close it after use."""
        database = connection()
        database.register_filesystem(self._files)
        return database

    def put(self, batch: Path, part: str, write: Write) -> tuple[str, int]:
        """Put it into the station's folder; into an object store as one object."""
        path = f"{self._root}/station={part}/batch={checked_name(batch.name, 'batch')}/{FILE}"
        if _is_local(self._files):
            return _put_on_disk(Path(path), write)
        with TemporaryDirectory(prefix="batchtest-") as work:
            whole = Path(work) / FILE
            lines = write(whole)
            with store_errors(path):
                self._files.pipe_file(path, whole.read_bytes())
        return str(self._files.unstrip_protocol(path)), lines


def open_store(to: str | None) -> Store:
    """The store at a folder or URL; without one, beside the records. Raises SetupError as `open_tree` does."""
    return Beside() if to is None else open_tree(to)


def open_tree(where: str) -> Tree:
    """The store at a folder or fsspec URL, such as `s3://bucket/boards`.

    Raises
    ------
    SetupError : no such kind of store, or the package that speaks to it is not there.
    """
    import fsspec

    try:
        return Tree(*fsspec.core.url_to_fs(where))
    except ImportError as error:
        cure = "for s3:// install batchtest[s3], for others the package of fsspec that it names"
        raise SetupError(f"{where!r} cannot be opened: {error}; {cure}") from error
    except ValueError as error:
        raise SetupError(f"{where!r}: {error}; write a folder, or a URL such as s3://bucket/boards") from error


@contextmanager
def store_errors(what: str) -> Iterator[None]:
    """Turn whatever a store refuses into a `RecordError` that says what was not reached."""
    try:
        yield
    except RecordError:
        raise
    except Exception as error:  # each backend of fsspec has errors of its own, with no common base below this one
        raise RecordError(f"{what} was not reached: {error!r}; gather again when it can be") from error


def _is_local(files: AbstractFileSystem) -> bool:
    from fsspec.implementations.local import LocalFileSystem

    return isinstance(files, LocalFileSystem)


def _put_on_disk(path: Path, write: Write) -> tuple[str, int]:
    """Write beside the last place, sync, rename."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    with on_disk(f"{path} cannot be written"):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            lines = write(temporary)
            with temporary.open("rb") as file:
                os.fsync(file.fileno())
            os.replace(temporary, path)
            sync_folder(path.parent)
        finally:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
    return str(path), lines
