-- The same by region. Percentiles are taken in each region and do not add.
SELECT
    region_code, item_id, wells_count, pieces_expected, pieces_p10, pieces_p50, pieces_p90,
    length_m_expected, length_m_p10, length_m_p90, mass_kg_expected,
    cost_expected, cost_p10, cost_p90, currency
FROM demand
WHERE region_level = 'region' AND cause_code = 'standing'
ORDER BY region_code, item_id
