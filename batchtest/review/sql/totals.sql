-- What was looked at: questions.Totals.
SELECT
    coalesce((SELECT sum(readings) FROM counted), 0) AS readings,
    count(*) AS attempts,
    (SELECT count(*) FROM firsts) AS boards,
    (SELECT count(DISTINCT batch) FROM firsts) AS batches,
    count(*) FILTER (WHERE golden) AS golden,
    (SELECT count(*) FROM readings WHERE number = 1 AND kind <> $kind) AS others,
    count(*) FILTER (WHERE simulated) AS simulated,
    count(*) FILTER (WHERE waived) AS waived,
    min(started_us) AS first_us,
    max(started_us) AS last_us
FROM attempts
WHERE chosen
