-- All lines of gathered files. $files is a list of paths or URLs; a file that was gathered by an earlier batchtest may
-- lack a column, which is NULL then.
SELECT *
FROM read_parquet($files, union_by_name = true, hive_partitioning = false)
ORDER BY started, station, batch, serial, attempt, number;
