-- Table counted: the readings of first attempts, counted and added up at the finest grain: cell, measurement, limits.
--
-- Columns are those of questions.Measured, but for cell.
SELECT
    cell,
    name,
    point,
    phase,
    measurand,
    load_point,
    unit,
    lower,
    upper,
    coalesce(middle_micro, 0) AS origin_micro,
    count(*) FILTER (WHERE NOT repeated) AS readings,
    count(*) FILTER (WHERE NOT repeated AND verdict <> '') AS judged,
    count(*) FILTER (WHERE NOT repeated AND verdict = 'pass') AS passed,
    count(*) FILTER (WHERE NOT repeated AND verdict = 'fail') AS failed,
    count(*) FILTER (WHERE NOT repeated AND verdict = 'doubtful') AS doubtful,
    count(*) FILTER (WHERE NOT repeated AND verdict = 'unread') AS unread,
    count(*) FILTER (WHERE repeated AND verdict IN ('fail', 'doubtful', 'unread')) AS later_not_passed,
    count(*) FILTER (WHERE usable) AS "values",
    sum(CASE WHEN usable THEN value_micro - coalesce(middle_micro, 0) END) AS sum_micro,
    sum(
        CASE
            WHEN usable
            THEN CAST(value_micro - coalesce(middle_micro, 0) AS HUGEINT) * (value_micro - coalesce(middle_micro, 0))
        END
    ) AS squares_micro,
    min(CASE WHEN usable THEN value_micro END) AS least_micro,
    max(CASE WHEN usable THEN value_micro END) AS most_micro,
    count(*) FILTER (WHERE usable AND abs(value - lower) <= uncertainty) AS near_lower,
    count(*) FILTER (WHERE usable AND abs(value - upper) <= uncertainty) AS near_upper,
    max(CASE WHEN usable THEN CAST(round(uncertainty * 1000000) AS BIGINT) END) AS uncertainty_micro
FROM lines
GROUP BY cell, name, point, phase, measurand, load_point, unit, lower, upper, coalesce(middle_micro, 0)
