-- View lines: the readings of first attempts, with the points and load points that are asked for.
--
-- usable   whether it counts as a value: the first of its name in the attempt, settled, under a load that was regulated,
--          and within a thousand million base units, so that sums of squares stay whole numbers of 38 digits
SELECT
    firsts.id,
    firsts.cell,
    firsts.nest,
    readings.board,
    readings.batch,
    readings.fixture,
    readings.station,
    readings.serial,
    readings.outcome,
    readings.sha256,
    readings.name,
    readings.point,
    readings.phase,
    readings.measurand,
    readings.load_point,
    readings.unit,
    readings.value,
    readings.value_micro,
    readings.beyond,
    readings.uncertainty,
    readings.lower,
    readings.upper,
    readings.middle_micro,
    coalesce(readings.verdict, '') AS verdict,
    readings.settled,
    readings.regulated,
    readings.repeated,
    readings.value_micro BETWEEN -1000000000000000 AND 1000000000000000
    AND readings.settled
    AND readings.regulated
    AND NOT readings.repeated AS usable
FROM readings
JOIN firsts ON readings.sha256 = firsts.sha256
WHERE
    ($any_name OR readings.name IN $name)
    AND ($any_point OR readings.point IN $point)
    AND ($any_load_point OR CAST(readings.load_point AS VARCHAR) IN $load_point)
