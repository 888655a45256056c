-- Attempts that the station stopped or refused: questions.Stops.
SELECT
    ${cell},
    outcome,
    cause,
    count(*) AS attempts
FROM attempts
WHERE NOT tells AND chosen AND NOT golden
GROUP BY ALL
