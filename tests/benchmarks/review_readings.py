"""Generated readings in the shape of gathered files, for `review_scale.py`: many batches, stations, fixtures, people.

Every board is a copy of a kept record (its lines, limits and uncertainties) with values of its own: noise, an offset of
its batch and of its fixture. Some boards fail a load point and are tested again, some are doubtful, some attempts are
stopped half-way; the limits of one measurement change after two thirds of the batches. All of it comes from hashes, so
that the same size gives the same readings.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

OLD = Path(__file__).resolve().parent.parent / "test_records" / "old" / "2" / "reports" / "spring"
#: The kept record that is copied.
PATTERN = "VN-0003"

#: Its lines; `place` counts those that may fail, at the load points.
_PATTERN = f"""
CREATE TABLE pattern AS
SELECT *, CASE WHEN phase = 'load' AND middle_micro IS NOT NULL THEN row_number() OVER (
    PARTITION BY phase = 'load' AND middle_micro IS NOT NULL ORDER BY number) - 1 END AS place
FROM read_parquet($file) WHERE serial = '{PATTERN}' ORDER BY number
"""

#: One batch. `fate` is in thousandths: 30 fail, 10 are doubtful, 5 are stopped; all but the doubtful come again.
_BATCH = """
CREATE OR REPLACE TABLE attempts AS
SELECT
    *,
    CASE
        WHEN attempt = 1 AND fate < 5 THEN 'stopped'
        WHEN attempt = 1 AND fate < 35 OR attempt = 2 AND fate BETWEEN 5 AND 15 THEN 'fail'
        WHEN attempt = 1 AND fate < 45 THEN 'doubtful'
        ELSE 'pass'
    END AS outcome,
    hash($batch, serial, 2) % 15 AS struck,
    $batch % 3 * 2 + hash($batch, serial, 3) % 2 AS nest,
    TIMESTAMPTZ '2020-01-06 08:00:00+00' + to_hours($batch * 24) + to_seconds(30 * (number + $boards * (attempt - 1)))
        AS started
FROM (
    SELECT number, format('VN-{:06d}', $batch * $boards + number) AS serial, hash($batch, number, 1) % 1000 AS fate
    FROM range($boards) AS boards(number)
), (VALUES (1), (2)) AS tries(attempt)
WHERE attempt = 1 OR fate < 35
"""

_WRITE = """
COPY (
    SELECT * EXCLUDE (place, chance), round(value * 1e6)::BIGINT AS value_micro
    FROM (
        SELECT
            line.* EXCLUDE (value_micro) REPLACE (
                format('batch-{:05d}', $batch) AS batch,
                a.serial AS serial,
                a.attempt::INTEGER AS attempt,
                a.outcome AS outcome,
                CASE
                    WHEN a.outcome = 'stopped' THEN 'interrupted'
                    WHEN a.outcome <> 'pass' THEN (SELECT name FROM pattern WHERE place = a.struck)
                END AS cause,
                'bench-' || ($batch % 3) AS station,
                'vent-nest-' || a.nest AS fixture,
                'operator ' || (hash($batch, a.serial, 4) % 4) AS operator,
                a.started AS started,
                a.started + to_seconds(25) AS ended,
                sha256(a.serial || a.attempt) AS sha256,
                CASE WHEN a.attempt = 1 THEN '' WHEN a.struck < 5 THEN 'reworked' ELSE 're-seated' END AS retest,
                a.started + to_milliseconds(line.number * 150) AS time,
                CASE
                    WHEN line.place = a.struck AND a.outcome = 'fail' THEN line.upper + (line.upper - line.lower) * 0.1
                    WHEN line.place = a.struck AND a.outcome = 'doubtful' THEN line.upper - line.guard / 2
                    ELSE line.value * (
                        1 + 1e-3 * ((chance % 1000 + chance // 1000 % 1000 + chance // 1000000 % 1000) / 1500.0 - 1)
                        + 2e-4 * sin($batch + line.number) + 1e-4 * a.nest
                    )
                END AS value,
                CASE
                    WHEN line.place = a.struck AND a.outcome IN ('fail', 'doubtful') THEN a.outcome
                    ELSE line.verdict
                END AS verdict,
                CASE WHEN line.place = 7 AND $late THEN line.upper + 0.01 ELSE line.upper END AS upper,
                CASE WHEN line.place = 7 AND $late THEN line.middle_micro + 5000 ELSE line.middle_micro END
                    AS middle_micro
            )
        FROM attempts AS a, LATERAL (SELECT *, hash(a.serial, a.attempt, pattern.number) AS chance FROM pattern) AS line
        WHERE a.outcome <> 'stopped' OR line.number <= 60
        ORDER BY a.serial, a.attempt, line.number
    )
) TO $path (FORMAT parquet, COMPRESSION zstd)
"""


def make(store: Path, readings: int, batches: int) -> int:
    """Write about so many readings as a store of gathered files, one a batch; gives how many there are.

    Parameters
    ----------
    store : a folder, made if need be; laid out as `batchtest gather --to` does.
    """
    import duckdb

    from batchtest.records.gather import gather
    from batchtest.records.store import FILE

    with TemporaryDirectory(prefix="batchtest-pattern-") as work, duckdb.connect() as database:
        shutil.copytree(OLD, Path(work) / OLD.name)
        gather([Path(work)])
        database.execute(_PATTERN, {"file": str(Path(work) / OLD.name / FILE)})
        (lines,) = database.execute("SELECT count(*) FROM pattern").fetchone() or (0,)
        boards = max(1, round(readings / batches / lines / 1.03))
        written = 0
        for batch in range(batches):
            path = store / f"station=bench-{batch % 3}" / f"batch=batch-{batch:05}" / FILE
            path.parent.mkdir(parents=True, exist_ok=True)
            database.execute(_BATCH, {"batch": batch, "boards": boards})
            values = {"batch": batch, "late": batch * 3 >= batches * 2, "path": str(path)}
            (count,) = database.execute(_WRITE, values).fetchone() or (0,)
            written += count
    return int(written)
