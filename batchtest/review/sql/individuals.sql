-- Values of the boards of each type that were tested last: questions.Individual.
SELECT
    lines.board,
    lines.batch,
    lines.fixture,
    lines.station,
    lines.serial,
    ordered."order",
    ordered.started_us,
    name,
    point,
    measurand,
    load_point,
    unit,
    lower,
    upper,
    value_micro,
    verdict
FROM lines
JOIN (
    SELECT
        sha256,
        started_us,
        row_number() OVER (PARTITION BY board ORDER BY started_us, batch, serial) AS "order",
        count(*) OVER (PARTITION BY board) AS boards
    FROM firsts
) AS ordered ON lines.sha256 = ordered.sha256
WHERE usable AND "order" > boards - $latest AND ($any_asked OR name IN $asked)
