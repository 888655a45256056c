-- What makes the readings unfit to be counted: a record that is there twice, a file that lacks what later ones hold.
--
-- fault   "twice" or "old"; with an example, and how many there are of this fault in this batch
SELECT 'twice' AS fault, batch, min(serial) AS serial, min(attempt) AS attempt, count(*) AS records
FROM (SELECT sha256, batch, serial, attempt FROM attempts GROUP BY ALL HAVING count(*) > 1) AS doubled
GROUP BY batch
UNION ALL
SELECT 'old' AS fault, batch, min(serial) AS serial, min(attempt) AS attempt, count(*) AS records
FROM readings
WHERE number = 1 AND (repeated IS NULL OR retest IS NULL OR regulated IS NULL)
GROUP BY batch
