-- Sums per level, region, item and draw. Integers throughout: the order of the wells, the chunks
-- and the threads cannot change a digit. A sum with a missing part is missing.
CREATE OR REPLACE TEMP TABLE sums AS
WITH draw_places AS (
    SELECT area_key(area_code) AS area, region_key(area_code, region_code) AS region, *
    FROM draw_sums
),
levels AS (
    SELECT 'all' AS region_level, '$all' AS place, * FROM draw_places
    UNION ALL
    SELECT 'area', area, * FROM draw_places
    UNION ALL
    SELECT 'region', region, * FROM draw_places
)
SELECT
    region_level,
    place,
    item_id,
    draw,
    sum(wells_milli) AS wells_milli,
    sum(pieces_milli) AS pieces_milli,
    CASE WHEN count(length_mm) = count(*) THEN sum(length_mm) END AS length_mm,
    CASE WHEN count(mass_g) = count(*) THEN sum(mass_g) END AS mass_g,
    CASE WHEN count(cost_cents) = count(*) THEN sum(cost_cents) END AS cost_cents,
    count(length_mm) = count(*) AS has_length,
    count(mass_g) = count(*) AS has_mass,
    count(cost_cents) = count(*) AS has_cost
FROM levels
GROUP BY region_level, place, item_id, draw;
