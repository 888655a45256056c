-- Readings of first attempts by what was measured and its limits: questions.Measured.
SELECT
    ${cell},
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
