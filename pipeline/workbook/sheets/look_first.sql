-- The wells to look at before anything is ordered.
SELECT source_id, well_id, leading_reason AS reason_code
FROM ($look_first)
LIMIT 500
