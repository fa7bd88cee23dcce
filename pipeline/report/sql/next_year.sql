-- Goods of the first year ahead, all causes together, the longest pipe first.
SELECT * FROM demand
WHERE region_level = 'all' AND cause_code = 'every'
    AND year = (SELECT min(year) FROM demand WHERE year IS NOT NULL)
ORDER BY length_m_expected DESC NULLS LAST, cost_expected DESC NULLS LAST, item_id
