-- Boards by what became of them: questions.Boards. One without an attempt that tells of it stands with its first one.
SELECT
    ${cell},
    count(*) FILTER (WHERE tested) AS boards,
    count(*) FILTER (WHERE tested AND outcome = 'pass') AS passed,
    count(*) FILTER (WHERE tested AND outcome = 'fail') AS failed,
    count(*) FILTER (WHERE tested AND outcome = 'doubtful') AS doubtful,
    count(*) FILTER (WHERE tested AND last = 'pass') AS passed_last,
    count(*) FILTER (WHERE tests > 1) AS retested,
    coalesce(sum(tests - 1), 0) AS retests,
    coalesce(sum(recovered), 0) AS recovered,
    coalesce(sum(reworked), 0) AS reworked,
    count(*) FILTER (WHERE tested AND waived) AS waived,
    count(*) FILTER (WHERE tested AND simulated) AS simulated,
    count(*) FILTER (WHERE NOT tested) AS untested,
    min(started_us) AS first_us,
    max(started_us) AS last_us
FROM (
    SELECT cell, true AS tested, outcome, last, tests, recovered, reworked, waived, simulated, started_us
    FROM firsts
    UNION ALL
    SELECT cell, false AS tested, outcome, NULL, NULL, NULL, NULL, waived, simulated, started_us
    FROM (
        SELECT
            *,
            max(CASE WHEN tells THEN 1 ELSE 0 END) OVER (PARTITION BY board, batch, serial) AS told,
            row_number() OVER (PARTITION BY board, batch, serial ORDER BY attempt, started_us, station) AS place
        FROM attempts
        WHERE NOT golden
    ) AS placed
    WHERE told = 0 AND place = 1 AND chosen
) AS each_board
JOIN cells ON each_board.cell = cells.cell
GROUP BY ALL
