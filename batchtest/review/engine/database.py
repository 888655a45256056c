"""What a review needs of a database, and the one that it has by itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Protocol

from batchtest.errors import RecordError, SetupError
from batchtest.review.engine.sources import Sources

if TYPE_CHECKING:
    import duckdb

#: What DuckDB may hold in memory before it writes to the disk; the program itself and the readers come on top.
_MEMORY = "560MB"


class Database(Protocol):
    """Runs SQL in DuckDB's spelling, over a view `readings` of all gathered lines.

    `at_once` is how many readings a question may be of that has to hold all their values in memory.
    """

    at_once: int

    def keep(self, name: str, texts: Sequence[str]) -> None:
        """Work queries out once, one after the other, and keep their rows as one table."""
        ...

    def view(self, name: str, text: str) -> None:
        """Give a query a name; it is worked out where it is used."""
        ...

    def rows(self, text: str) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        """Names of the columns, and the rows."""
        ...


class Duck(AbstractContextManager["Duck"]):
    """DuckDB in this process, on all cores; holds a connection and a folder for what does not fit in its memory."""

    at_once = 3_000_000

    def __init__(self, sources: Sources) -> None:
        self._room = TemporaryDirectory(prefix="batchtest-review-")
        self._connection = sources.connect()
        try:
            self._read(sources)
        except BaseException:
            self.close()
            raise

    def keep(self, name: str, texts: Sequence[str]) -> None:
        """See `Database`."""
        for place, text in enumerate(texts):
            self._run(f"INSERT INTO {name} {text}" if place else f"CREATE TEMP TABLE {name} AS {text}")

    def view(self, name: str, text: str) -> None:
        """See `Database`."""
        self._run(f"CREATE TEMP VIEW {name} AS {text}")

    def rows(self, text: str) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        """See `Database`."""
        found = self._run(text)
        return [column[0] for column in found.description], found.fetchall()

    def close(self) -> None:
        """Close the connection and remove what was written beside it."""
        self._connection.close()
        self._room.cleanup()

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _read(self, sources: Sources) -> None:
        for setting in (
            "SET threads = 1" if sources.alone else "RESET threads",
            f"SET memory_limit = '{_MEMORY}'",
            f"SET temp_directory = '{self._room.name}'",
            "SET preserve_insertion_order = false",
        ):
            self._connection.execute(setting)
        with _errors():
            found = self._connection.from_parquet(list(sources.files), union_by_name=True, hive_partitioning=False)
            found.create_view("readings")

    def _run(self, text: str) -> duckdb.DuckDBPyConnection:
        with _errors():
            return self._connection.execute(text)


@contextmanager
def _errors() -> Iterator[None]:
    """Say what DuckDB cannot do in words that tell what to do about it."""
    import duckdb

    try:
        yield
    except duckdb.OutOfMemoryException as error:
        cure = "look at fewer batches, or take another engine, such as local-spark"
        raise SetupError(f"there are more readings than {_MEMORY} of memory are enough for; {cure}") from error
    except duckdb.Error as error:
        raise unreadable(str(error)) from error


def unreadable(why: str) -> RecordError:
    """A gathered file cannot be read; `why` names it."""
    return RecordError(f"a gathered file cannot be read: {why}; gather that batch again, from its records")
