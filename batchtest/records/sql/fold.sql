-- The lines of one batch and the context of their records, as one Parquet file.
--
-- $rows      CSV file without a header: the rows of every record one after another, each with its record's place in
--            $contexts in front of it; the columns are those of records/columns.py
-- $contexts  JSON list of the records' contexts
-- $path      the file to write
-- $stamp     what the file says of itself: which records it holds, which were left out
--
-- Base units. An empty cell is NULL, in a text column an empty text. value_micro is the value in whole millionths of its
-- unit (microvolts, for volts), so that sums come out the same in any order and on any engine; middle_micro is the middle
-- of the limits, where both are there. A sum of squares is to be taken of value_micro - middle_micro, as HUGEINT. retest is
-- the reason of a retest, empty where it is none; repeated says that its attempt has an earlier line of the same name.
COPY (
    WITH line AS MATERIALIZED (
        SELECT * FROM read_csv(
            $rows,
            header = false,
            auto_detect = false,
            delim = ',',
            quote = '"',
            escape = '"',
            new_line = '\r\n',
            columns = {
                'record': 'INTEGER',
                'number': 'INTEGER',
                'time': 'TIMESTAMPTZ',
                'elapsed_s': 'DOUBLE',
                'phase': 'VARCHAR',
                'name': 'VARCHAR',
                'point': 'VARCHAR',
                'measurand': 'VARCHAR',
                'load_point': 'INTEGER',
                'load_A': 'DOUBLE',
                'value': 'DOUBLE',
                'unit': 'VARCHAR',
                'beyond': 'DOUBLE',
                'spread': 'DOUBLE',
                'count': 'INTEGER',
                'uncertainty': 'DOUBLE',
                'lower': 'DOUBLE',
                'upper': 'DOUBLE',
                'limit_source': 'VARCHAR',
                'guard': 'DOUBLE',
                'verdict': 'VARCHAR',
                'why': 'VARCHAR',
                'range': 'DOUBLE',
                'nplc': 'DOUBLE',
                'settle_s': 'DOUBLE',
                'settled': 'BOOLEAN',
                'expected': 'DOUBLE',
                'time_constant_s': 'DOUBLE',
                'abort_lower': 'DOUBLE',
                'abort_upper': 'DOUBLE',
                'abort_source': 'VARCHAR',
                'status': 'VARCHAR',
                'raw': 'VARCHAR',
                'regulated': 'BOOLEAN'
            }
        )
    ),
    again AS (
        SELECT record, name, min(number) AS first FROM line GROUP BY record, name HAVING count(*) > 1
    )
    SELECT
        context.board,
        context.revision,
        context.kind,
        context.batch,
        context.serial,
        context.attempt,
        context.outcome,
        context.cause,
        context.first_cause,
        context.station,
        context.operator,
        context.fixture,
        context.cable,
        context.bench,
        context.simulated,
        context.waived,
        context.meter_serial,
        context.load_serial,
        context.supply_serial,
        context.scanner_serial,
        context."ambient_C",
        context.rule,
        context.software,
        context.started,
        context.ended,
        context.duration_s,
        context.sha256,
        context.retest,
        line.number > coalesce(again.first, line.number) AS repeated,
        line.number,
        line.time,
        line.elapsed_s,
        line.phase,
        original(line.name) AS name,
        coalesce(original(line.point), '') AS point,
        line.measurand,
        line.load_point,
        line."load_A",
        line.value,
        CASE
            WHEN isfinite(line.value) AND abs(line.value) < 9e12 THEN round(line.value * 1e6)::BIGINT
        END AS value_micro,
        line.unit,
        line.beyond,
        line.spread,
        line.count,
        line.uncertainty,
        line.lower,
        line.upper,
        CASE
            WHEN isfinite(line.lower + line.upper) AND abs(line.lower + line.upper) < 9e12
            THEN round((line.lower + line.upper) * 5e5)::BIGINT
        END AS middle_micro,
        coalesce(original(line.limit_source), '') AS limit_source,
        line.guard,
        line.verdict,
        coalesce(original(line.why), '') AS why,
        line.range,
        line.nplc,
        line.settle_s,
        line.settled,
        line.expected,
        line.time_constant_s,
        line.abort_lower,
        line.abort_upper,
        coalesce(original(line.abort_source), '') AS abort_source,
        coalesce(original(line.status), '') AS status,
        coalesce(original(line.raw), '') AS raw,
        coalesce(line.regulated, true) AS regulated
    FROM line
    JOIN (
        SELECT unnest(from_json($contexts, '[{
            "record": "INTEGER",
            "board": "VARCHAR",
            "revision": "VARCHAR",
            "kind": "VARCHAR",
            "batch": "VARCHAR",
            "serial": "VARCHAR",
            "attempt": "INTEGER",
            "outcome": "VARCHAR",
            "cause": "VARCHAR",
            "first_cause": "VARCHAR",
            "station": "VARCHAR",
            "operator": "VARCHAR",
            "fixture": "VARCHAR",
            "cable": "VARCHAR",
            "bench": "VARCHAR",
            "simulated": "BOOLEAN",
            "waived": "BOOLEAN",
            "meter_serial": "VARCHAR",
            "load_serial": "VARCHAR",
            "supply_serial": "VARCHAR",
            "scanner_serial": "VARCHAR",
            "ambient_C": "DOUBLE",
            "rule": "VARCHAR",
            "software": "VARCHAR",
            "started": "TIMESTAMPTZ",
            "ended": "TIMESTAMPTZ",
            "duration_s": "DOUBLE",
            "sha256": "VARCHAR",
            "retest": "VARCHAR"
        }]'), recursive := true)
    ) AS context USING (record)
    LEFT JOIN again ON again.record = line.record AND again.name = line.name
) TO $path (FORMAT parquet, COMPRESSION zstd, KV_METADATA {batchtest: $stamp});
