-- Table quartered: quartiles of every measurement that has a limit, in every batch at every fixture.
--
-- A value of one's own for every board is held in memory until the quartiles are found, so this is worked out in slices of
-- nest; the batches that a slice can be of spare the reading of other files.
--
-- Each is the smallest value that the share does not exceed (the inverse of the empirical distribution function).
SELECT
    nest,
    name,
    unit,
    lower,
    upper,
    count(*) AS "values",
    quantile_disc(value_micro, 0.25) AS first_micro,
    quantile_disc(value_micro, 0.5) AS median_micro,
    quantile_disc(value_micro, 0.75) AS third_micro
FROM lines
WHERE
    usable
    AND (lower IS NOT NULL OR upper IS NOT NULL)
    AND nest BETWEEN $first_nest AND $last_nest
    AND batch BETWEEN $first_batch AND $last_batch
GROUP BY nest, name, unit, lower, upper
