-- Quartiles of some measurements: questions.Quartiles.
SELECT
    board,
    batch,
    fixture,
    name,
    unit,
    lower,
    upper,
    "values",
    first_micro,
    median_micro,
    third_micro
FROM quartered
JOIN (SELECT DISTINCT nest, board, batch, fixture FROM cells) AS nests ON quartered.nest = nests.nest
WHERE $any_asked OR name IN $asked
