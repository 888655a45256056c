-- Table cells: what the attempts of a cell have in common.
SELECT DISTINCT cell, nest, board, revision, batch, fixture, cable, station, operator, month
FROM attempts
