SELECT * FROM install_plan ORDER BY source_id, well_id
