-- How many readings there are of each batch at each fixture, in the order of nest.
SELECT cells.nest, cells.batch, sum(readings) AS readings
FROM counted
JOIN cells ON counted.cell = cells.cell
GROUP BY cells.nest, cells.batch
ORDER BY cells.nest
