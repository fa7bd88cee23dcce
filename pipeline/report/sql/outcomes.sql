-- Wells by outcome.
SELECT outcome_code AS code, count(*) AS wells
FROM selection GROUP BY code ORDER BY wells DESC, code
