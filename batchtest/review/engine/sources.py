"""Where the readings of a review lie: what is gathered already, and what is closed and not gathered yet.

Nothing is dropped without a word: what is open, held back, torn or altered is a notice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from batchtest.errors import RecordError, SetupError
from batchtest.records.begun import read_begun
from batchtest.records.closed import ClosedBatch, Listing, list_batch, read_closed, readable
from batchtest.records.gather import Gathered, State, gather
from batchtest.records.names import BEGUN
from batchtest.records.parquet import Stamp, UnreadableRows, connection, fold, stamps
from batchtest.records.store import FILE, Tree, open_tree

if TYPE_CHECKING:
    import duckdb

#: How the URL of a file on a disk begins.
_ON_DISK = "file://"


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What a review does not see, or not all of.

    Parameters
    ----------
    kind : "open", "held back" or "left out".
    where : the batch's folder, or the record.
    why : in plain words.
    """

    kind: str
    where: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """The files of a review, as paths or URLs, what is not in them, and how a database gets at them.

    `connect` gives a DuckDB that can read the files; `alone`: only one thread of it may, since what reads an object
    store does not keep apart what several threads read of one file.
    """

    files: tuple[str, ...]
    notices: tuple[Notice, ...]
    connect: Callable[[], duckdb.DuckDBPyConnection]
    alone: bool = False


@contextmanager
def open_sources(where: str | Path, told: Callable[[Gathered], None] = lambda batch: None) -> Iterator[Sources]:
    """Find what there is to review, gathering what is new; the files are there for as long as the block lasts.

    Parameters
    ----------
    where : a reports folder, a batch's folder, or a folder or URL that `batchtest gather --to` wrote to.
    told : hears of each batch that is looked at.

    Raises
    ------
    SetupError : no such folder, or nothing closed in it.
    RecordError : it cannot be read.
    """
    if "://" in str(where) or any(Path(where).glob("station=*")):
        yield _from_store(open_tree(str(where)), where)
        return
    if not Path(where).is_dir():
        raise SetupError(f"there is no folder {where}; name the folder of the records, such as reports")
    with TemporaryDirectory(prefix="batchtest-review-") as work:
        files, notices = _from_reports(Path(where), Path(work), told)
        if not files:
            raise SetupError(_nothing(where, notices))
        yield Sources(files=tuple(files), notices=tuple(notices), connect=connection)


def _from_store(tree: Tree, where: str | Path) -> Sources:
    files = tree.files()
    if not files:
        raise SetupError(f"nothing was gathered to {where}; gather there first, or name another folder")
    with tree.connection() as database:
        left_out = {name: why for stamp in stamps(database, files).values() for name, why in stamp.left_out.items()}
    notices = [Notice(kind="left out", where=name, why=why) for name, why in sorted(left_out.items())]
    if all(file.startswith(_ON_DISK) for file in files):
        files = [file.removeprefix(_ON_DISK) for file in files]
        return Sources(files=tuple(files), notices=tuple(notices), connect=connection)
    return Sources(files=tuple(files), notices=tuple(notices), connect=tree.connection, alone=True)


def _from_reports(reports: Path, work: Path, told: Callable[[Gathered], None]) -> tuple[list[str], list[Notice]]:
    """Files of every batch: beside its records, or in `work` where it is open or its folder takes no file."""
    try:
        done = gather([reports], told=told)
    except RecordError:
        done = gather([reports], str(work / "store"), told)
    files: list[str] = []
    notices: list[Notice] = []
    for batch in done:
        found = batch.files or _beside(batch.folder)
        left_out = dict(batch.left_out)
        if batch.state is State.OPEN:
            found, left_out = _fold_closed(batch.folder, work)
            notices += [Notice(kind="open", where=str(batch.folder), why=_begun(list_batch(batch.folder)))]
        elif batch.state is State.HELD:
            notices += [Notice(kind="held back", where=str(batch.folder), why=batch.why)]
        files += found
        notices += [Notice(kind="left out", where=f"{batch.folder}/{name}", why=why) for name, why in left_out.items()]
    return files, notices


def _beside(folder: Path) -> tuple[str, ...]:
    return (str(folder / FILE),) if (folder / FILE).exists() else ()


def _fold_closed(folder: Path, work: Path) -> tuple[tuple[str, ...], dict[str, str]]:
    """Fold what is closed of an open batch; the file is in `work`, since it will be another one before long."""
    closed = read_closed(list_batch(folder))
    path = work / f"{folder.name}.parquet"
    with connection() as database:
        try:
            _fold(database, closed, path)
        except UnreadableRows:
            closed = readable(closed, folder)
            _fold(database, closed, path)
    return ((str(path),) if closed.records else ()), closed.left_out


def _fold(database: duckdb.DuckDBPyConnection, closed: ClosedBatch, path: Path) -> None:
    if closed.records:
        fold(database, closed.records, Stamp(print="", stations=(), records={}, left_out=closed.left_out), path)


def _begun(listing: Listing) -> str:
    """Which attempts are open, and at which station, as far as they say so."""
    named = []
    for name in listing.open:
        try:
            at = f" at {read_begun(name.path(listing.folder, BEGUN)).station}"
        except (RecordError, OSError):
            at = ""
        named.append(f"{name.serial}.{name.number}{at}")
    return f"begun and not closed: {', '.join(named)}; what is closed of it is counted"


def _nothing(where: str | Path, notices: Iterable[Notice]) -> str:
    seen = [f"{notice.where}: {notice.kind}, {notice.why}" for notice in notices]
    cure = "test boards first, or name another folder"
    return f"no closed record in {where}; {cure}" + "".join(f"\n{line}" for line in seen)
