-- Families by region: wells in scope and length of pipe, every well at its low, base and high end.
SELECT
    s.area_code, s.region_code, s.family_code,
    sum(s.weight_inclusion_fraction) AS wells_count,
    sum(s.length_drop_pipe_m * s.weight_inclusion_fraction) AS length_m,
    sum(d.length_drop_pipe_m_low * s.weight_inclusion_fraction) AS length_m_low,
    sum(d.length_drop_pipe_m_high * s.weight_inclusion_fraction) AS length_m_high,
    median(s.head_total_dynamic_m) AS head_total_dynamic_m,
    median(s.length_drop_pipe_m) AS length_drop_pipe_m
FROM selection AS s
JOIN design AS d USING (source_id, well_id)
WHERE s.option_id IS NOT NULL
GROUP BY s.area_code, s.region_code, s.family_code
ORDER BY s.area_code, s.region_code, s.family_code
