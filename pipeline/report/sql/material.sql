-- Material of the whole run.
SELECT * FROM demand WHERE region_level = 'all' AND cause_code = 'standing'
ORDER BY length_m_expected DESC NULLS LAST, pieces_expected DESC, item_id
