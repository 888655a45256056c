-- Table firsts: one row a board, its first attempt that tells of it, if that is one of those asked for.
--
-- id          number of its own
-- tests       attempts that tell of the board
-- last        outcome of the last of them
-- recovered   1 where it did not pass at first, and passed at a later one with no rework before it
-- reworked    1 where one of them came after a rework
SELECT *, row_number() OVER (ORDER BY board, batch, serial) AS id
FROM (
    SELECT
        *,
        count(*) OVER (PARTITION BY board, batch, serial) AS tests,
        first_value(outcome) OVER (
            PARTITION BY board, batch, serial ORDER BY attempt DESC, started_us DESC, station DESC
        ) AS last,
        CASE
            WHEN outcome = 'pass' THEN 0
            ELSE max(CASE WHEN place > 1 AND outcome = 'pass' AND reworks = 0 THEN 1 ELSE 0 END) OVER (
                PARTITION BY board, batch, serial
            )
        END AS recovered,
        max(CASE WHEN reworks > 0 THEN 1 ELSE 0 END) OVER (PARTITION BY board, batch, serial) AS reworked
    FROM (
        SELECT
            *,
            row_number() OVER (PARTITION BY board, batch, serial ORDER BY attempt, started_us, station) AS place,
            count(CASE WHEN retest = 'reworked' THEN 1 END) OVER (
                PARTITION BY board, batch, serial ORDER BY attempt, started_us, station
            ) AS reworks
        FROM attempts
        WHERE tells AND NOT golden
    ) AS placed
) AS told
WHERE place = 1 AND chosen
