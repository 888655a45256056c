-- Values of a measurement by strip of its histogram: questions.Bin. Fifty strips from from_micro to to_micro.
WITH spans AS (
    SELECT
        board,
        name,
        unit,
        lower,
        upper,
        CASE
            WHEN upper IS NOT NULL AND lower IS NOT NULL THEN max(lower_micro)
            ELSE least(min(least_micro), coalesce(max(coalesce(lower_micro, upper_micro)), min(least_micro)))
        END AS from_micro,
        CASE
            WHEN upper IS NOT NULL AND lower IS NOT NULL THEN max(upper_micro)
            ELSE greatest(max(most_micro), coalesce(max(coalesce(lower_micro, upper_micro)), max(most_micro)))
        END AS to_micro
    FROM (
        SELECT
            *,
            CAST(round(lower * 1000000) AS BIGINT) AS lower_micro,
            CAST(round(upper * 1000000) AS BIGINT) AS upper_micro
        FROM counted
        WHERE "values" > 0 AND ($any_asked OR name IN $asked)
    ) AS limited
    JOIN cells ON limited.cell = cells.cell
    GROUP BY board, name, unit, lower, upper
)
SELECT
    spans.board,
    spans.name,
    spans.unit,
    spans.lower,
    spans.upper,
    from_micro,
    to_micro,
    CASE
        WHEN value_micro < from_micro THEN -1
        WHEN value_micro > to_micro THEN 50
        WHEN value_micro = to_micro THEN 49
        ELSE CAST((CAST(value_micro - from_micro AS HUGEINT) * 50) // (to_micro - from_micro) AS INTEGER)
    END AS strip,
    count(*) AS "values"
FROM lines
JOIN spans
    ON lines.board = spans.board
    AND lines.name = spans.name
    AND lines.unit = spans.unit
    AND lines.lower IS NOT DISTINCT FROM spans.lower
    AND lines.upper IS NOT DISTINCT FROM spans.upper
WHERE usable
GROUP BY ALL
