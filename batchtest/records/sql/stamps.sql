-- What gathered files say of themselves. $files is a list of paths or URLs.
SELECT file_name, decode(value) AS stamp
FROM parquet_kv_metadata($files)
WHERE decode(key) = 'batchtest';
