-- Flags, stops first.
SELECT * FROM risks
ORDER BY CASE severity_code WHEN 'stop' THEN 0 WHEN 'caution' THEN 1 ELSE 2 END, code, source_id, well_id
