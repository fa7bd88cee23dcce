-- Wells by confidence grade.
SELECT grade_code AS code, count(*) AS wells
FROM selection GROUP BY code ORDER BY code
