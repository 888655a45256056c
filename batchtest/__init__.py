"""batchtest: a production test station for small batches of boards."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

__all__ = ["readings"]


def readings(where: str | Path = "reports") -> pandas.DataFrame:
    """Every line of every closed batch as a pandas frame, with its record's context beside it.

    Base units; the columns are those of `readings.parquet`. What is new in a reports folder is gathered first. A batch
    that is open or held back, and a record that is torn or altered, is named in a warning and not in the frame; of a
    batch that was gathered before, what was gathered then.

    Parameters
    ----------
    where : a reports folder, or a folder or URL that `batchtest gather --to` wrote to.

    Raises
    ------
    batchtest.errors.SetupError : no such folder, nothing closed in it, or pandas is not installed.
    """
    from batchtest.records.readings import all_readings

    return all_readings(where)
