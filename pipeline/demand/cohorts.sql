-- Wells by region, use, decade of completion, and by what decides when their string comes up: the year it was put
-- in (newest pump work, else completion), whether the well works, its recorded pipe, its water. Weights in whole
-- thousandths: no order of adding changes a sum. A string recorded after the well was made starts its clock then.
SELECT
    area_code,
    region_code,
    use_code,
    (year(completed_date) // 10 * 10)::BIGINT AS completed_decade,
    greatest(year(completed_date), year(pump_installed_date))::BIGINT AS start_year,
    CASE WHEN status_code IN ('inactive', 'dry', 'plugged') THEN 'not_working' ELSE 'in_use' END AS state_code,
    CASE WHEN material_drop_pipe_code IN ('pe', 'pvc', 'pex', 'galvanised', 'stainless')
        THEN material_drop_pipe_code ELSE '' END AS material_code,
    CASE WHEN acidity_ph < $limit_ph THEN 'acid' WHEN acidity_ph IS NOT NULL THEN 'neutral' ELSE '' END AS water_code,
    sum(round(weight_inclusion_fraction * 1000)::BIGINT)::BIGINT AS wells_milli
FROM wells
GROUP BY ALL
ORDER BY ALL;
