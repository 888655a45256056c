-- Values far from the median of their batch at their fixture: questions.Outlier.
--
-- Farther than six robust deviations of (Q3 - Q1) / 1.35: 6 / 1.35 = 40 / 9, so that whole numbers decide.
SELECT
    board,
    batch,
    fixture,
    serial,
    outcome,
    name,
    unit,
    lower,
    upper,
    value_micro,
    median_micro,
    first_micro,
    third_micro,
    verdict,
    found
FROM (
    SELECT
        *,
        count(*) OVER (PARTITION BY board, name, unit, lower, upper) AS found,
        row_number() OVER (
            PARTITION BY board, name, unit, lower, upper
            ORDER BY abs(value_micro - median_micro) DESC, batch, serial, station
        ) AS place
    FROM (
        SELECT lines.*, first_micro, median_micro, third_micro
        FROM lines
        JOIN quartered
            ON lines.nest = quartered.nest
            AND lines.name = quartered.name
            AND lines.unit = quartered.unit
            AND lines.lower IS NOT DISTINCT FROM quartered.lower
            AND lines.upper IS NOT DISTINCT FROM quartered.upper
        WHERE
            usable
            AND "values" >= 30
            AND third_micro > first_micro
            AND 9 * abs(value_micro - median_micro) > 40 * (third_micro - first_micro)
    ) AS far
) AS ranked
WHERE place <= $listed
