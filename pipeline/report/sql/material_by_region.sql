-- Material by region, the longest first.
SELECT * FROM demand WHERE region_level = 'region' AND cause_code = 'standing'
ORDER BY length_m_expected DESC NULLS LAST, pieces_expected DESC, region_code, item_id
