-- Table attempts: one row an attempt of the kind asked for, from its first line.
--
-- readings   view: the lines of all gathered files, as records/sql/fold.sql writes them
-- tells      whether it tells of the board: it passed, failed or was doubtful
-- golden     whether it is of a reference board: a check of one, a challenge, or one of the serials in $golden
-- chosen     whether it is one of those asked for; $any_batch: all batches are, otherwise those in $batch, and so on
-- cell, nest number of its set of columns to count by; number of its board type, batch and fixture
-- started_us microseconds since 1970, UTC; month as "2026-11", UTC
SELECT
    *,
    dense_rank() OVER (ORDER BY board, revision, batch, fixture, cable, station, operator, month) AS cell,
    dense_rank() OVER (ORDER BY board, batch, fixture) AS nest,
    ($any_board OR board IN $board)
    AND ($any_revision OR revision IN $revision)
    AND ($any_batch OR batch IN $batch)
    AND ($any_serial OR serial IN $serial)
    AND ($any_fixture OR fixture IN $fixture)
    AND ($any_cable OR cable IN $cable)
    AND ($any_station OR station IN $station)
    AND ($any_operator OR operator IN $operator)
    AND ($any_month OR month IN $month) AS chosen
FROM (
    SELECT
        board,
        revision,
        batch,
        serial,
        attempt,
        outcome,
        coalesce(cause, '') AS cause,
        fixture,
        cable,
        station,
        operator,
        simulated,
        waived,
        sha256,
        coalesce(retest, '') AS retest,
        epoch_us(started) AS started_us,
        strftime(make_timestamp(epoch_us(started)), '%Y-%m') AS month,
        outcome IN ('pass', 'fail', 'doubtful') AS tells,
        coalesce(retest, '') = 'golden-check' OR batch = 'challenges' OR serial IN $golden AS golden
    FROM readings
    WHERE number = 1 AND kind = $kind
) AS opened
