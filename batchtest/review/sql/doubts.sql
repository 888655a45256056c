-- Readings of first attempts that were doubtful or not read, by cause: questions.Doubts.
SELECT
    board,
    CASE WHEN $by_revision THEN revision ELSE '' END AS revision,
    CASE WHEN $by_batch THEN batch ELSE '' END AS batch,
    CASE WHEN $by_fixture THEN fixture ELSE '' END AS fixture,
    CASE WHEN $by_cable THEN cable ELSE '' END AS cable,
    CASE WHEN $by_station THEN station ELSE '' END AS station,
    CASE WHEN $by_operator THEN operator ELSE '' END AS operator,
    CASE WHEN $by_month THEN month ELSE '' END AS month,
    name,
    point,
    verdict,
    CASE
        WHEN beyond IS NOT NULL THEN 'over range'
        WHEN value IS NULL THEN 'no reading'
        WHEN NOT settled THEN 'not settled'
        WHEN NOT regulated THEN 'not regulated'
        WHEN upper IS NULL AND lower IS NULL THEN 'other'
        WHEN upper IS NULL OR abs(value - lower) < abs(upper - value) THEN 'near the lower limit'
        ELSE 'near the upper limit'
    END AS cause,
    count(*) AS readings
FROM troubled
JOIN cells ON troubled.cell = cells.cell
WHERE verdict IN ('doubtful', 'unread') AND ($any_asked OR name IN $asked)
GROUP BY ALL
