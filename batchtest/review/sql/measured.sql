-- Readings of first attempts by what was measured and its limits: questions.Measured.
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
    phase,
    measurand,
    load_point,
    unit,
    lower,
    upper,
    sum(readings) AS readings,
    sum(judged) AS judged,
    sum(passed) AS passed,
    sum(failed) AS failed,
    sum(doubtful) AS doubtful,
    sum(unread) AS unread,
    sum(later_not_passed) AS later_not_passed,
    sum("values") AS "values",
    origin_micro,
    coalesce(sum(sum_micro), 0) AS sum_micro,
    coalesce(sum(squares_micro), 0) AS squares_micro,
    min(least_micro) AS least_micro,
    max(most_micro) AS most_micro,
    sum(near_lower) AS near_lower,
    sum(near_upper) AS near_upper,
    max(uncertainty_micro) AS uncertainty_micro
FROM counted
JOIN cells ON counted.cell = cells.cell
WHERE $any_asked OR name IN $asked
GROUP BY ALL
