"""All readings as one pandas frame, for whoever wants to look at them with Python."""

from __future__ import annotations

import warnings
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import SetupError
from batchtest.records.gather import State, gather
from batchtest.records.parquet import connection, sql
from batchtest.records.store import FILE, open_tree

if TYPE_CHECKING:
    import duckdb
    import pandas


def all_readings(where: str | Path) -> pandas.DataFrame:
    """See `batchtest.readings`."""
    if "://" in str(where) or any(Path(where).glob("station=*")):
        tree = open_tree(str(where))
        with tree.connection() as database:
            return _frame(database, tree.files(), where)
    if not Path(where).is_dir():
        raise SetupError(f"there is no folder {where}; name the folder of the records, such as reports")
    done = gather([Path(where)])
    for batch in done:
        if batch.state in (State.OPEN, State.HELD):
            warnings.warn(f"{batch.folder}: {batch.state}, {batch.why}", stacklevel=3)
        for file, why in batch.left_out.items():
            warnings.warn(f"{batch.folder}: left out {file}: {why}", stacklevel=3)
    files = [str(batch.folder / FILE) for batch in done if (batch.folder / FILE).exists()]
    with connection() as database:
        return _frame(database, files, where)


def _frame(database: duckdb.DuckDBPyConnection, files: list[str], where: str | Path) -> pandas.DataFrame:
    if not files:
        raise SetupError(f"no closed batch in {where}; test boards first, or name another folder")
    if find_spec("pandas") is None:
        raise SetupError("a frame needs pandas, which is not installed; pip install pandas")
    return database.execute(sql("readings"), {"files": files}).df()
