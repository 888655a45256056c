-- Readings of first attempts that were doubtful or not read, by cause: questions.Doubts.
SELECT
    ${cell},
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
