"""The same SQL on Spark, on this machine or on a cluster: transpiled by sqlglot, the whole numbers as decimals."""

from __future__ import annotations

import os
import shutil
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from functools import reduce
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from batchtest.errors import SetupError
from batchtest.review.engine.database import unreadable
from batchtest.review.engine.sources import Sources
from batchtest.review.engine.spelling import spark_text

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession


class Spark(AbstractContextManager["Spark"]):
    """A session of its own on a Spark; one that runs in this process already is used, and left running.

    Parameters
    ----------
    master : "local[*]", or the address of a cluster, whose workers must reach the files by the same paths or URLs.

    Raises
    ------
    SetupError : pyspark, sqlglot or Java is not installed, or the cluster does not answer.
    """

    at_once = sys.maxsize

    def __init__(self, sources: Sources, master: str) -> None:
        _installed()
        from pyspark.sql import SparkSession

        self._kept: list[DataFrame] = []
        self._own = SparkSession.getActiveSession() is None
        self._session = _start(master).newSession()
        self._session.conf.set("spark.sql.session.timeZone", "UTC")
        if master.startswith("local"):
            self._session.conf.set("spark.sql.shuffle.partitions", self._session.sparkContext.defaultParallelism)
        try:
            with _errors():
                readings = self._session.read.option("mergeSchema", "true").parquet(*sources.files)
                readings.createOrReplaceTempView("readings")
        except BaseException:
            self.close()
            raise

    def keep(self, name: str, texts: Sequence[str]) -> None:
        """See `Database`."""
        from pyspark.sql import DataFrame

        frame = reduce(DataFrame.union, [self._session.sql(spark_text(text)) for text in texts]).persist()
        self._kept.append(frame)
        frame.createOrReplaceTempView(name)

    def view(self, name: str, text: str) -> None:
        """See `Database`."""
        self._session.sql(spark_text(text)).createOrReplaceTempView(name)

    def rows(self, text: str) -> tuple[Sequence[str], Sequence[Sequence[Any]]]:
        """See `Database`."""
        with _errors():
            frame = self._session.sql(spark_text(text))
            return frame.columns, frame.collect()

    def close(self) -> None:
        """Let go of what was kept; stop Spark where this began it."""
        for frame in self._kept:
            frame.unpersist()
        if self._own:
            self._session.stop()

    def __exit__(self, *exc: object) -> None:
        self.close()


def _start(master: str) -> SparkSession:
    from pyspark.sql import SparkSession

    builder = (
        SparkSession.builder.appName("batchtest review")
        .master(master)
        .config("spark.ui.enabled", "false")
        .config("spark.ui.showConsoleProgress", "false")
        .config("spark.log.level", "ERROR")
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", FutureWarning
            )  # of a pandas newer than this pyspark, which is not used here
            return builder.getOrCreate()
    except _faults() as error:
        raise SetupError(
            f"Spark at {master} does not answer: {_first_line(error)}; start it, or mend the address"
        ) from error


@contextmanager
def _errors() -> Iterator[None]:
    """Say in one line what Spark says in a hundred."""
    try:
        yield
    except _faults() as error:
        raise unreadable(_first_line(error)) from error


def _faults() -> tuple[type[Exception], ...]:
    """What pyspark raises: its own errors, and what Java said where it has none for that."""
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException

    return (PySparkException, Py4JError)


def _first_line(error: Exception) -> str:
    """What was wrong, without the path through Java's calls that follows it."""
    lines = [line.strip().removeprefix(": ") for line in str(error).splitlines() if line.strip()]
    return next(
        (line for line in lines if not line.startswith("An error occurred while calling")), type(error).__name__
    )


def _installed() -> None:
    missing = [name for name in ("pyspark", "sqlglot") if find_spec(name) is None]
    if missing:
        verb = "are" if len(missing) > 1 else "is"
        raise SetupError(f"{' and '.join(missing)} {verb} not installed; pip install 'batchtest[cluster]'")
    if shutil.which("java") is None and not os.environ.get("JAVA_HOME"):
        raise SetupError("Spark needs Java 17, which is not installed; on Debian: apt install openjdk-17-jre-headless")
