-- Fragment: the columns that boards and readings are counted by; empty where it was not asked for.
board,
CASE WHEN $by_revision THEN revision ELSE '' END AS revision,
CASE WHEN $by_batch THEN batch ELSE '' END AS batch,
CASE WHEN $by_fixture THEN fixture ELSE '' END AS fixture,
CASE WHEN $by_cable THEN cable ELSE '' END AS cable,
CASE WHEN $by_station THEN station ELSE '' END AS station,
CASE WHEN $by_operator THEN operator ELSE '' END AS operator,
CASE WHEN $by_month THEN month ELSE '' END AS month
