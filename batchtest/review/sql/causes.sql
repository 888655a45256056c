-- Boards that did not pass at first, by first cause: questions.Causes.
SELECT
    ${cell},
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
