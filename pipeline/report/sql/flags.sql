-- Risk flags by code and severity.
SELECT code, severity_code, count(*) AS wells, count(*) FILTER (WHERE would_change_choice) AS changes,
    count(*) FILTER (WHERE input_confidence_code IN ('recorded', 'derived')) AS sure
FROM risks
GROUP BY code, severity_code
ORDER BY CASE severity_code WHEN 'stop' THEN 0 WHEN 'caution' THEN 1 ELSE 2 END, wells DESC, code
