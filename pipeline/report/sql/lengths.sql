-- Drop pipe of the wells with a recommended pipe, every well at its low, base and high end; weighted as
-- wells in scope, summed in whole millimetres.
SELECT
    region_key(s.area_code, s.region_code) AS region,
    count(*) AS wells,
    sum(s.weight_inclusion_fraction)::DOUBLE AS weight,
    sum(round(d.length_drop_pipe_m_low * s.weight_inclusion_fraction * 1000)::BIGINT)::DOUBLE / 1000 AS low_m,
    sum(round(d.length_drop_pipe_m * s.weight_inclusion_fraction * 1000)::BIGINT)::DOUBLE / 1000 AS base_m,
    sum(round(d.length_drop_pipe_m_high * s.weight_inclusion_fraction * 1000)::BIGINT)::DOUBLE / 1000 AS high_m
FROM equipped AS s
JOIN design AS d USING (source_id, well_id)
GROUP BY region ORDER BY wells DESC, region
