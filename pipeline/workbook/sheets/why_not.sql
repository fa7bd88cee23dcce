-- Why each other family was not chosen.
SELECT * FROM not_chosen ORDER BY source_id, well_id, family_code
