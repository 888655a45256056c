"""The same questions on Spark: the same rows, to the last digit. Needs Java; skipped where there is none."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from batchtest.errors import RecordError, SetupError
from batchtest.review import questions as q
from batchtest.review.engine import Engine, Sources, open_engine
from batchtest.review.engine.engine import LOCAL_SPARK

from .generated import sources

EVERY = (
    q.Boards,
    q.Stops,
    q.Causes,
    q.Measured,
    q.Doubts,
    q.Bin,
    q.Quartiles,
    q.Outlier,
    q.Individual,
    q.Golden,
    q.Totals,
)
#: What is narrow is asked so, to see that the choice itself reaches Spark.
NAMES = ("logic @ load point 1", "it's", "a\\b")

needs_java = pytest.mark.skipif(shutil.which("java") is None, reason="Java 17 is not installed")


@pytest.fixture(scope="module")
def spark() -> Iterator[None]:
    """Spark on one thread of this process, for the whole module; the review finds it running and leaves it so."""
    from pyspark.sql import SparkSession

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        session = (
            SparkSession.builder.master("local[1]")
            .config("spark.ui.enabled", "false")
            .config("spark.ui.showConsoleProgress", "false")
            .config("spark.driver.extraJavaOptions", "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC")
            .config("spark.sql.codegen.wholeStage", "false")
            .config("spark.sql.codegen.factoryMode", "NO_CODEGEN")
            .config("spark.sql.adaptive.enabled", "false")
            .config("spark.log.level", "ERROR")
            .getOrCreate()
        )
    yield
    session.stop()


@needs_java
@pytest.mark.usefixtures("spark")
def test_both_engines_give_the_same_rows(gathered: Sources, engine: Engine):
    """Every question, every number: the sums are of whole numbers, so that no order of adding changes a digit."""
    with open_engine(gathered, q.Selection(), LOCAL_SPARK) as other:
        for question in EVERY:
            assert set(engine.ask(question)) == set(other.ask(question)), question
        by = ("batch", "fixture", "month")
        assert set(engine.ask(q.Boards, by=by)) == set(other.ask(q.Boards, by=by))
        assert set(engine.ask(q.Measured, by=by, names=NAMES)) == set(other.ask(q.Measured, by=by, names=NAMES))
        assert set(engine.ask(q.Spots, by=("point",))) == set(other.ask(q.Spots, by=("point",)))


@needs_java
@pytest.mark.usefixtures("spark")
def test_a_torn_file_is_named_on_spark_too(tmp_path: Path):
    """The same error as on this machine's own engine."""
    torn = tmp_path / "torn.parquet"
    torn.write_bytes(b"PAR1 and no more")
    with (
        pytest.raises(RecordError, match="a gathered file cannot be read"),
        open_engine(sources(torn), q.Selection(), LOCAL_SPARK),
    ):
        pass


@pytest.mark.parametrize(
    ("name", "message"),
    [
        pytest.param(
            "find_spec", r"pyspark and sqlglot are not installed; pip install 'batchtest\[cluster\]'", id="pip"
        ),
        pytest.param("which", r"Spark needs Java 17, which is not installed; on Debian: apt install", id="java"),
    ],
)
def test_what_spark_needs_is_said(gathered: Sources, monkeypatch: pytest.MonkeyPatch, name: str, message: str):
    """Before anything is started."""
    target = "batchtest.review.engine.spark" + (".find_spec" if name == "find_spec" else ".shutil.which")
    monkeypatch.setattr(target, lambda _: None)
    monkeypatch.delenv("JAVA_HOME", raising=False)
    with pytest.raises(SetupError, match=message), open_engine(gathered, q.Selection(), LOCAL_SPARK):
        pass
