-- Wells and length of the pipe recommended by region, use, decade of completion and family; whether recent.
-- Whole thousandths and millimetres: no order of adding changes a sum. Wells without a pipe have no family.
SELECT
    w.area_code,
    w.region_code,
    w.use_code,
    (year(w.completed_date) // 10 * 10)::BIGINT AS completed_decade,
    coalesce(year(w.completed_date) > $since, false) AS is_recent,
    CASE WHEN s.option_id IS NULL THEN NULL ELSE s.family_code END AS family_code,
    sum(round(w.weight_inclusion_fraction * 1000)::BIGINT)::BIGINT AS wells_milli,
    coalesce(sum(round(s.length_drop_pipe_m * w.weight_inclusion_fraction * 1000)::BIGINT), 0)::BIGINT AS length_mm
FROM wells AS w
JOIN selection AS s USING (source_id, well_id)
GROUP BY ALL
ORDER BY ALL;
