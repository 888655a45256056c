-- Boards that did not pass at first, by first cause: questions.Causes.
SELECT
    board,
    CASE WHEN $by_revision THEN revision ELSE '' END AS revision,
    CASE WHEN $by_batch THEN batch ELSE '' END AS batch,
    CASE WHEN $by_fixture THEN fixture ELSE '' END AS fixture,
    CASE WHEN $by_cable THEN cable ELSE '' END AS cable,
    CASE WHEN $by_station THEN station ELSE '' END AS station,
    CASE WHEN $by_operator THEN operator ELSE '' END AS operator,
    CASE WHEN $by_month THEN month ELSE '' END AS month,
    outcome,
    cause,
    count(*) AS boards,
    sum(coalesce(follow_on, 0)) AS follow_on
FROM firsts
LEFT JOIN (
    SELECT troubled.sha256, count(*) AS follow_on
    FROM troubled
    JOIN firsts AS named ON troubled.sha256 = named.sha256 AND troubled.name <> named.cause
    GROUP BY troubled.sha256
) AS others ON firsts.sha256 = others.sha256
WHERE outcome <> 'pass'
GROUP BY ALL
