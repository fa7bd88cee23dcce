-- Goods by region, cause, year and draw: sums of the draws times the factor of the year, in whole numbers, so that
-- regions add up to their area and to the whole. A factor may rest on the goods of its region or of its area.
CREATE OR REPLACE TEMP TABLE based AS
SELECT place AS base, item, draw, wells_milli, pieces_milli, length_mm, mass_g, cost_cents FROM goods
UNION ALL
SELECT
    $places + area, item, draw, sum(wells_milli), sum(pieces_milli),
    CASE WHEN count(length_mm) = count(*) THEN sum(length_mm) END,
    CASE WHEN count(mass_g) = count(*) THEN sum(mass_g) END,
    CASE WHEN count(cost_cents) = count(*) THEN sum(cost_cents) END
FROM goods JOIN places USING (place)
GROUP BY area, item, draw;

CREATE OR REPLACE TEMP TABLE of_regions AS
SELECT
    f.place, f.cause, f.year, b.item, f.draw,
    sum(round(b.wells_milli * k.factor))::BIGINT AS wells_milli,
    sum(round(b.pieces_milli * k.factor))::BIGINT AS pieces_milli,
    CASE WHEN count(b.length_mm) = count(*) THEN sum(round(b.length_mm * k.factor))::BIGINT END AS length_mm,
    CASE WHEN count(b.mass_g) = count(*) THEN sum(round(b.mass_g * k.factor))::BIGINT END AS mass_g,
    CASE WHEN count(b.cost_cents) = count(*) THEN sum(round(b.cost_cents * k.factor))::BIGINT END AS cost_cents
FROM factors AS f
JOIN items AS i ON i.family = f.family
JOIN based AS b ON b.base = f.base AND b.draw = f.draw AND b.item = i.item,
LATERAL (SELECT CASE i.at_pull WHEN 'pipe' THEN f.pipe WHEN 'always' THEN f.always WHEN 'seldom' THEN f.seldom
    ELSE f.goods END AS factor) AS k
WHERE k.factor > 0
GROUP BY ALL;

CREATE OR REPLACE TEMP TABLE of_levels AS
WITH every AS (
    SELECT place, cause, year, item, draw, wells_milli, pieces_milli, length_mm, mass_g, cost_cents FROM of_regions
    UNION ALL
    SELECT
        place, -1, year, item, draw, sum(wells_milli)::BIGINT, sum(pieces_milli)::BIGINT,
        sum(length_mm)::BIGINT, sum(mass_g)::BIGINT,
        CASE WHEN count(cost_cents) = count(*) THEN sum(cost_cents)::BIGINT END
    FROM of_regions
    GROUP BY place, year, item, draw
)
SELECT 2 AS level, place AS member, cause, year, item, draw, wells_milli, pieces_milli, length_mm, mass_g, cost_cents
FROM every
UNION ALL
SELECT
    1, area, cause, year, item, draw, sum(wells_milli)::BIGINT, sum(pieces_milli)::BIGINT, sum(length_mm)::BIGINT,
    sum(mass_g)::BIGINT, CASE WHEN count(cost_cents) = count(*) THEN sum(cost_cents)::BIGINT END
FROM every JOIN places USING (place)
GROUP BY area, cause, year, item, draw
UNION ALL
SELECT
    0, 0, cause, year, item, draw, sum(wells_milli)::BIGINT, sum(pieces_milli)::BIGINT, sum(length_mm)::BIGINT,
    sum(mass_g)::BIGINT, CASE WHEN count(cost_cents) = count(*) THEN sum(cost_cents)::BIGINT END
FROM every
GROUP BY cause, year, item, draw;
