-- Material of the whole run were every well equipped once.
SELECT
    item_id, wells_count, pieces_expected, pieces_p10, pieces_p50, pieces_p90,
    length_m_expected, length_m_p10, length_m_p50, length_m_p90, mass_kg_expected,
    cost_expected, cost_p10, cost_p50, cost_p90, currency
FROM demand
WHERE region_level = 'all' AND cause_code = 'standing'
ORDER BY cost_expected DESC NULLS LAST, item_id
