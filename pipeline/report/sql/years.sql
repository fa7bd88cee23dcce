-- Pipe and money of the whole run by year and cause. Expected values only: percentiles of items do not add.
SELECT year, cause_code, sum(length_m_expected) FILTER (is_pipe) AS length_m, sum(cost_expected) AS cost,
    count(*) FILTER (cost_expected IS NULL) AS no_price
FROM (SELECT *, item_id IN (SELECT unnest($pipes)) AS is_pipe FROM demand)
WHERE region_level = 'all' AND year IS NOT NULL
GROUP BY year, cause_code
ORDER BY year, cause_code
