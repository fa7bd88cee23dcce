-- Material by year and cause, the whole run and its areas.
SELECT
    region_level, region_code, year, cause_code, item_id, wells_count,
    pieces_expected, pieces_p10, pieces_p90, length_m_expected, length_m_p10, length_m_p90,
    cost_expected, currency
FROM demand
WHERE year IS NOT NULL AND region_level IN ('all', 'area')
ORDER BY region_level, region_code, year, cause_code, item_id
