-- Boards by what became of a rail or at a load point: questions.Spots.
SELECT
    ${cell},
    point,
    load_point,
    count(*) AS boards,
    count(*) FILTER (WHERE worst = 0) AS passed,
    count(*) FILTER (WHERE worst = 2) AS failed,
    count(*) FILTER (WHERE worst = 1) AS doubtful
FROM (
    SELECT
        cell,
        id,
        CASE WHEN $by_point THEN point ELSE '' END AS point,
        CASE WHEN $by_load_point THEN load_point END AS load_point,
        max(CASE WHEN verdict = 'pass' THEN 0 WHEN verdict = 'fail' THEN 2 ELSE 1 END) AS worst
    FROM lines
    WHERE phase IN ('load', 'derived') AND verdict <> '' AND (load_point IS NOT NULL OR NOT $by_load_point)
    GROUP BY ALL
) AS each_board
JOIN cells ON each_board.cell = cells.cell
GROUP BY ALL
