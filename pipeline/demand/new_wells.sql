-- Wells of a run by region, use and year of completion, in whole thousandths.
SELECT
    area_code, region_code, use_code, year(completed_date)::BIGINT AS year,
    sum(round(weight_inclusion_fraction * 1000)::BIGINT)::BIGINT AS wells_milli
FROM wells
WHERE completed_date IS NOT NULL
GROUP BY ALL
ORDER BY ALL;
