-- Values of reference boards: questions.Golden.
SELECT
    attempts.board,
    attempts.batch,
    attempts.fixture,
    attempts.station,
    attempts.serial,
    attempts.attempt,
    attempts.started_us,
    name,
    point,
    unit,
    value_micro
FROM readings
JOIN attempts ON readings.sha256 = attempts.sha256
WHERE
    golden
    AND tells
    AND chosen
    AND value_micro IS NOT NULL
    AND settled
    AND regulated
    AND NOT repeated
    AND ($any_asked OR name IN $asked)
