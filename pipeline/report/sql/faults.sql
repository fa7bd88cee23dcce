-- Reasons for which records were set aside or repaired, with the first line of a file on which each stands.
WITH told AS (
    SELECT 'excluded' AS kind, reason_code AS code, source_file, source_line, source_row FROM excluded
    UNION ALL
    SELECT 'quarantined', reason_code, source_file, source_line, source_row FROM quarantine
    UNION ALL
    SELECT 'issue', code, source_file, NULL, source_row FROM issues
)
SELECT kind, code, count(*) AS rows,
    arg_min(source_file, (coalesce(source_line, source_row, 9223372036854775807), source_file)) AS file,
    min(source_line) AS line,
    min(source_row) AS row
FROM told
GROUP BY kind, code ORDER BY kind, rows DESC, code
