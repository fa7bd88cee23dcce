-- Wells by recommended pipe.
SELECT option_id, family_code, count(*) AS wells, median(length_drop_pipe_m) AS length_m
FROM equipped
GROUP BY option_id, family_code ORDER BY wells DESC, option_id
