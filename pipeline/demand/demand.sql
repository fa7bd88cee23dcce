-- Expected value and percentiles over the draws, taken at each level by itself: expected values of
-- the regions add up to their area, percentiles do not. A draw in which an item is not chosen counts
-- as nothing of it. Percentiles interpolate between order statistics (quantile_cont).
WITH item_places AS (
    SELECT
        region_level, place, item_id,
        bool_and(has_length) AS has_length, bool_and(has_mass) AS has_mass, bool_and(has_cost) AS has_cost
    FROM sums
    GROUP BY region_level, place, item_id
),
grid AS (
    SELECT * FROM item_places CROSS JOIN (SELECT unnest(range($draws)) AS draw)
),
filled AS (
    SELECT
        grid.region_level, grid.place, grid.item_id,
        coalesce(sums.wells_milli, 0)::HUGEINT AS wells_milli,
        coalesce(sums.pieces_milli, 0)::HUGEINT AS pieces_milli,
        CASE WHEN grid.has_length THEN coalesce(sums.length_mm, 0)::HUGEINT END AS length_mm,
        CASE WHEN grid.has_mass THEN coalesce(sums.mass_g, 0)::HUGEINT END AS mass_g,
        CASE WHEN grid.has_cost THEN coalesce(sums.cost_cents, 0)::HUGEINT END AS cost_cents
    FROM grid
    LEFT JOIN sums USING (region_level, place, item_id, draw)
)
SELECT
    region_level,
    place AS region_code,
    NULL::BIGINT AS year,
    'standing' AS cause_code,
    item_id,
    sum(wells_milli)::DOUBLE / (1000 * $draws) AS wells_count,
    sum(pieces_milli)::DOUBLE / (1000 * $draws) AS pieces_expected,
    quantile_cont(pieces_milli::DOUBLE, 0.1) / 1000 AS pieces_p10,
    quantile_cont(pieces_milli::DOUBLE, 0.5) / 1000 AS pieces_p50,
    quantile_cont(pieces_milli::DOUBLE, 0.9) / 1000 AS pieces_p90,
    sum(length_mm)::DOUBLE / (1000 * $draws) AS length_m_expected,
    quantile_cont(length_mm::DOUBLE, 0.1) / 1000 AS length_m_p10,
    quantile_cont(length_mm::DOUBLE, 0.5) / 1000 AS length_m_p50,
    quantile_cont(length_mm::DOUBLE, 0.9) / 1000 AS length_m_p90,
    sum(mass_g)::DOUBLE / (1000 * $draws) AS mass_kg_expected,
    quantile_cont(mass_g::DOUBLE, 0.1) / 1000 AS mass_kg_p10,
    quantile_cont(mass_g::DOUBLE, 0.5) / 1000 AS mass_kg_p50,
    quantile_cont(mass_g::DOUBLE, 0.9) / 1000 AS mass_kg_p90,
    sum(cost_cents)::DOUBLE / (100 * $draws) AS cost_expected,
    quantile_cont(cost_cents::DOUBLE, 0.1) / 100 AS cost_p10,
    quantile_cont(cost_cents::DOUBLE, 0.5) / 100 AS cost_p50,
    quantile_cont(cost_cents::DOUBLE, 0.9) / 100 AS cost_p90,
    CASE WHEN bool_and(cost_cents IS NOT NULL) THEN $currency END AS currency
FROM filled
GROUP BY region_level, place, item_id
ORDER BY region_level, place, item_id;
