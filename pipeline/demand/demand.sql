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
        coalesce(sums.wells_milli, 0)::BIGINT AS wells_milli,
        coalesce(sums.pieces_milli, 0)::BIGINT AS pieces_milli,
        CASE WHEN grid.has_length THEN coalesce(sums.length_mm, 0)::BIGINT END AS length_mm,
        CASE WHEN grid.has_mass THEN coalesce(sums.mass_g, 0)::BIGINT END AS mass_g,
        CASE WHEN grid.has_cost THEN coalesce(sums.cost_cents, 0)::BIGINT END AS cost_cents
    FROM grid
    LEFT JOIN sums USING (region_level, place, item_id, draw)
),
spread AS (
    SELECT
        region_level, place, item_id,
        sum(wells_milli)::DOUBLE AS wells,
        sum(pieces_milli)::DOUBLE AS pieces,
        sum(length_mm)::DOUBLE AS length,
        sum(mass_g)::DOUBLE AS mass,
        sum(cost_cents)::DOUBLE AS cost,
        quantile_cont(pieces_milli::DOUBLE, [0.1, 0.5, 0.9]) AS pieces_at,
        quantile_cont(length_mm::DOUBLE, [0.1, 0.5, 0.9]) AS length_at,
        quantile_cont(mass_g::DOUBLE, [0.1, 0.5, 0.9]) AS mass_at,
        quantile_cont(cost_cents::DOUBLE, [0.1, 0.5, 0.9]) AS cost_at
    FROM filled
    GROUP BY region_level, place, item_id
)
SELECT
    region_level,
    place AS region_code,
    NULL::BIGINT AS year,
    $cause AS cause_code,
    item_id,
    wells / (1000 * $draws) AS wells_count,
    pieces / (1000 * $draws) AS pieces_expected,
    pieces_at[1] / 1000 AS pieces_p10,
    pieces_at[2] / 1000 AS pieces_p50,
    pieces_at[3] / 1000 AS pieces_p90,
    length / (1000 * $draws) AS length_m_expected,
    length_at[1] / 1000 AS length_m_p10,
    length_at[2] / 1000 AS length_m_p50,
    length_at[3] / 1000 AS length_m_p90,
    mass / (1000 * $draws) AS mass_kg_expected,
    mass_at[1] / 1000 AS mass_kg_p10,
    mass_at[2] / 1000 AS mass_kg_p50,
    mass_at[3] / 1000 AS mass_kg_p90,
    cost / (100 * $draws) AS cost_expected,
    cost_at[1] / 100 AS cost_p10,
    cost_at[2] / 100 AS cost_p50,
    cost_at[3] / 100 AS cost_p90,
    CASE WHEN cost IS NOT NULL THEN $currency END AS currency
FROM spread
ORDER BY region_level, place, item_id;
