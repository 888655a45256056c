"""A review of many readings, beside the bare SQL and beside pandas.

`ratio_to_sql` is a whole review (files found, asked, worked out, in answers) over the very statements that it put to
its database, given to DuckDB as it comes: no limit of memory, rows fetched and dropped. `ratio_to_pandas` is a review
over pandas working out yields, sums by batch, quartiles and outliers of fewer readings, since its frames of twenty
million would not fit; both of the same files. Every figure is of a process of its own; `peak_MB` is all that the
review's process ever held. `ratio` is of wall time, `cpu_ratio` of the processor's, whatever else the machine does.
`growth` is time a million readings at each size over that at the first. `page_s` is the page of a review of
`--page-batches`, forty boards each, without that review. `spark_differs` counts rows in which local Spark gives other
digits (with `--spark`).

    python tests/benchmarks/review_scale.py [--readings 20000000] [--batches 500] [--sizes 1000000 50000000] [--spark]
                                            [--pandas 1000000] [--page-batches 100] [--folder /dev/shm] [--json]
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from review_readings import make

#: Questions of which Spark must give the same rows.
COMPARED = ("Boards", "Stops", "Causes", "Measured", "Doubts", "Bin", "Quartiles", "Outlier", "Individual", "Totals")


def review_of(store: str, statements: Path | None = None) -> dict[str, Any]:
    """A whole review; what was put to the database is written down."""
    from batchtest.review.answers import Request, review
    from batchtest.review.engine import database, open_engine, open_sources
    from batchtest.review.questions import Selection

    asked: list[str] = []
    run = database.Duck._run

    def noted(duck: database.Duck, text: str) -> Any:
        asked.append(text)
        return run(duck, text)

    database.Duck._run = noted  # type: ignore[method-assign]
    with open_sources(store) as sources, open_engine(sources, Selection()) as engine:
        found = review(engine, Request(made=datetime.now(UTC), engine="duckdb"))
    if statements is not None:
        statements.write_text(json.dumps(asked))
    return {"readings": found.looked.readings, "found": found}


def sql_alone(store: str, statements: Path) -> dict[str, Any]:
    """The same statements, as DuckDB comes."""
    import duckdb

    with duckdb.connect() as bare:
        files = sorted(str(path) for path in Path(store).glob("*/*/*.parquet"))
        bare.from_parquet(files, union_by_name=True, hive_partitioning=False).create_view("readings")
        return {"rows": sum(len(bare.execute(text).fetchall()) for text in json.loads(statements.read_text()))}


def pandas_alone(store: str) -> dict[str, Any]:
    """Yields, sums, quartiles and outliers, as one would write them with pandas."""
    import duckdb
    import pandas as pd

    columns = "board, batch, fixture, serial, attempt, outcome, name, unit, lower, upper, value, repeated"
    lines: pd.DataFrame = duckdb.execute(
        f"SELECT {columns} FROM read_parquet('{store}/*/*/*.parquet', hive_partitioning = false)"
    ).df()
    board = ["board", "batch", "serial"]
    attempts = lines[[*board, "attempt", "outcome"]].drop_duplicates().sort_values("attempt")
    firsts = attempts[attempts.outcome.isin(["pass", "fail", "doubtful"])].groupby(board).first().reset_index()
    yields = firsts.groupby(["board", "batch"]).outcome.value_counts()
    own = lines.merge(firsts[[*board, "attempt"]], on=[*board, "attempt"])
    own = own[~own.repeated & own.value.notna()]
    by = ["board", "batch", "name", "unit", "lower", "upper"]
    sums = own.groupby(by, dropna=False).value.agg(["count", "mean", "std", "min", "max"])
    nest = [*by, "fixture"]
    quartiles = own.groupby(nest, dropna=False).value.quantile([0.25, 0.5, 0.75]).unstack().reset_index()
    quartiles.columns = pd.Index([*nest, "first", "median", "third"])
    far = own.merge(quartiles, on=nest)
    far = far[(far.value - far["median"]).abs() > 6 / 1.35 * (far.third - far["first"])]
    return {"rows": len(yields) + len(sums) + len(far)}


def page_of(store: str) -> dict[str, Any]:
    """The page of a review, timed by itself."""
    from batchtest.pages.review import review_page

    found = review_of(store)["found"]
    begun, own = time.perf_counter(), time.process_time()
    page = review_page(found)
    spent = {"page_s": time.perf_counter() - begun, "page_cpu_s": time.process_time() - own}
    return {name: round(value, 2) for name, value in spent.items()} | {"page_MB": round(len(page) / 1e6, 2)}


def on_spark(store: str) -> dict[str, Any]:
    """Rows in which the two engines differ."""
    from batchtest.review import questions
    from batchtest.review.engine import open_engine, open_sources

    with (
        open_sources(store) as sources,
        open_engine(sources, questions.Selection()) as duck,
        open_engine(sources, questions.Selection(), "local-spark") as spark,
    ):
        kinds = [getattr(questions, name) for name in COMPARED]
        answers = [(set(duck.ask(kind)), set(spark.ask(kind))) for kind in kinds]
    return {"rows": sum(len(one) for one, _ in answers), "differs": sum(len(one ^ other) for one, other in answers)}


def job(name: str, store: str, statements: Path) -> dict[str, Any]:
    """One piece of work, with its time and the most memory that the process ever held."""
    work: dict[str, Callable[[], dict[str, Any]]] = {
        "review": lambda: review_of(store, statements),
        "sql": lambda: sql_alone(store, statements),
        "pandas": lambda: pandas_alone(store),
        "page": lambda: page_of(store),
        "spark": lambda: on_spark(store),
    }
    begun, own = time.perf_counter(), time.process_time()
    found = work[name]()
    found.pop("found", None)
    spent = {"s": time.perf_counter() - begun, "cpu_s": time.process_time() - own}
    return found | spent | {"peak_MB": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)}


def apart(name: str, store: Path, statements: Path) -> dict[str, Any]:
    """A job in a process of its own."""
    command = [sys.executable, __file__, "--job", name, "--store", str(store), "--statements", str(statements)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    print(f"{name} of {store.name}: {found}", file=sys.stderr)
    return found


def measure(asked: argparse.Namespace, folder: Path) -> dict[str, Any]:
    """All figures."""
    statements = folder / "statements.json"
    store = _made(folder, asked.readings, asked.batches)
    whole = [apart("review", store, statements) for _ in range(asked.rounds)]
    bare = [apart("sql", store, statements) for _ in range(asked.rounds)]
    (wall, bare_wall), (own, bare_own) = (
        [min(run[key] for run in runs) for runs in (whole, bare)] for key in ("s", "cpu_s")
    )
    found = {
        "readings": whole[0]["readings"],
        "cores": os.cpu_count(),
        "review_s": round(wall, 2),
        "sql_s": round(bare_wall, 2),
        "ratio_to_sql": round(wall / bare_wall, 2),
        "cpu_ratio_to_sql": round(own / bare_own, 2),
        "peak_MB": max(run["peak_MB"] for run in whole),
        "sql_peak_MB": bare[0]["peak_MB"],
    }
    if asked.pandas:
        small = _made(folder, asked.pandas, 25)
        ours, theirs = apart("review", small, statements), apart("pandas", small, statements)
        found["pandas_readings"] = asked.pandas
        found["ratio_to_pandas"] = round(ours["s"] / theirs["s"], 2)
        found["cpu_ratio_to_pandas"] = round(ours["cpu_s"] / theirs["cpu_s"], 2)
        found["pandas_peak_MB"] = theirs["peak_MB"]
    grown = [(each, apart("review", _made(folder, each, max(1, each // 40_000)), statements)) for each in asked.sizes]
    found["growth"] = {size: round(run["s"] / size * asked.sizes[0] / grown[0][1]["s"], 2) for size, run in grown}
    found["growth_peak_MB"] = {size: run["peak_MB"] for size, run in grown}
    paged = _made(folder, asked.page_batches * 40 * 160, asked.page_batches)
    page = apart("page", paged, statements)
    found["page_batches"] = asked.page_batches
    found |= {name: page[name] for name in ("page_s", "page_cpu_s", "page_MB")}
    if asked.spark:
        found["spark_differs"] = apart("spark", _made(folder, 200_000, 20), statements)["differs"]
    return found


def _made(folder: Path, readings: int, batches: int) -> Path:
    store = folder / f"{readings}-{batches}"
    if not store.exists():
        print(f"{make(store, readings, batches)} readings in {store}", file=sys.stderr)
    return store


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=20_000_000)
    parser.add_argument("--batches", type=int, default=500)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--sizes", type=int, nargs="*", default=[1_000_000, 50_000_000])
    parser.add_argument("--pandas", type=int, default=1_000_000, help="readings to give to pandas; 0: none")
    parser.add_argument("--page-batches", type=int, default=100)
    parser.add_argument("--spark", action="store_true")
    parser.add_argument("--folder", type=Path, default=Path("/dev/shm") if Path("/dev/shm").is_dir() else None)
    parser.add_argument("--keep", type=Path, help="a folder for the readings, which is left and used again")
    parser.add_argument("--json", action="store_true", dest="as_json")
    for hidden in ("--job", "--store", "--statements"):
        parser.add_argument(hidden, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.job:
        print(json.dumps(job(asked.job, asked.store, Path(asked.statements))))
        return
    if asked.keep:
        asked.keep.mkdir(parents=True, exist_ok=True)
        found = measure(asked, asked.keep)
    else:
        with TemporaryDirectory(prefix="batchtest-review-", dir=asked.folder) as folder:
            found = measure(asked, Path(folder))
    if asked.as_json:
        print(json.dumps(found))
    else:
        for name, value in found.items():
            print(f"{name:>20}  {value}")


if __name__ == "__main__":
    main()
