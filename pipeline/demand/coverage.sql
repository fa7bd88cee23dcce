-- Records of wells by region: how many, how many stand for a well in scope, how many lack their date or depth.
SELECT
    area_code,
    region_code,
    count(*) AS records_count,
    sum(round(weight_inclusion_fraction * 1000)::BIGINT)::DOUBLE / 1000 AS wells_count,
    count(*) FILTER (completed_date IS NULL AND pump_installed_date IS NULL)::DOUBLE / count(*) AS share_undated_fraction,
    count(*) FILTER (depth_completed_m IS NULL AND depth_drilled_m IS NULL)::DOUBLE / count(*) AS share_no_depth_fraction
FROM wells
GROUP BY ALL
ORDER BY ALL;
