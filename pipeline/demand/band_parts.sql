-- What the band of the pipe of a cause over all its years is made of. Length of an item in a draw = all pipe of the
-- region in the draw (setting) x share of the item in it (choice) x factor (events or new wells). Each part moves
-- alone while the others keep their mean; shares compare the squared widths from P10 to P90. Prices move in a scenario.
-- Shares and factors are taken in whole billionths, so that the order of adding changes nothing.
WITH pipe AS (
    SELECT b.base, b.item, i.family, b.draw, b.length_mm::BIGINT AS length,
        sum(b.length_mm) OVER (PARTITION BY b.base, b.draw)::BIGINT AS whole
    FROM based AS b JOIN items AS i USING (item)
    WHERE i.at_pull = 'pipe'
),
grid AS (
    SELECT base, item, family, unnest(range($draws)) AS draw FROM (SELECT DISTINCT base, item, family FROM pipe)
),
whole AS (
    SELECT base, draw, any_value(whole) AS whole FROM pipe GROUP BY base, draw
),
drawn AS (
    SELECT base, item, family, draw, coalesce(whole.whole, 0) AS whole,
        coalesce(round(1e9 * length / nullif(whole.whole, 0)), 0)::BIGINT AS share
    FROM grid LEFT JOIN whole USING (base, draw) LEFT JOIN pipe USING (base, item, family, draw)
),
middle AS (
    SELECT *, sum(whole) OVER (PARTITION BY base, item)::DOUBLE / $draws AS whole_mean,
        sum(share) OVER (PARTITION BY base, item)::DOUBLE / $draws AS share_mean
    FROM drawn
),
asked AS (
    SELECT place, base, cause, family, draw, sum(round(1e9 * pipe)::BIGINT)::BIGINT AS factor FROM factors GROUP BY ALL
),
full_asked AS (
    SELECT k.place, k.base, k.cause, k.family, d.draw, coalesce(a.factor, 0) AS factor,
        sum(coalesce(a.factor, 0)) OVER (PARTITION BY k.place, k.base, k.cause, k.family)::DOUBLE / $draws AS factor_mean
    FROM (SELECT DISTINCT place, base, cause, family FROM asked) AS k
    CROSS JOIN (SELECT unnest(range($draws)) AS draw) AS d
    LEFT JOIN asked AS a USING (place, base, cause, family, draw)
),
moved AS (
    SELECT f.place, f.cause, m.item, m.draw,
        sum(round(m.whole * (m.share_mean / 1e9) * (f.factor_mean / 1e9))::BIGINT)::BIGINT AS setting,
        sum(round(m.whole_mean * (m.share / 1e9) * (f.factor_mean / 1e9))::BIGINT)::BIGINT AS choice,
        sum(round(m.whole_mean * (m.share_mean / 1e9) * (f.factor / 1e9))::BIGINT)::BIGINT AS number
    FROM middle AS m JOIN full_asked AS f ON f.base = m.base AND f.family = m.family AND f.draw = m.draw
    GROUP BY ALL
),
levels AS (
    SELECT 'all' AS region_level, $all AS region_code, cause, item, draw, sum(setting)::BIGINT AS setting,
        sum(choice)::BIGINT AS choice, sum(number)::BIGINT AS number
    FROM moved GROUP BY ALL
    UNION ALL
    SELECT 'area', area_name, cause, item, draw, sum(setting)::BIGINT, sum(choice)::BIGINT, sum(number)::BIGINT
    FROM moved JOIN places USING (place) GROUP BY ALL
),
long AS (
    UNPIVOT levels ON setting, choice, number INTO NAME part_code VALUE length
),
widths AS (
    SELECT region_level, region_code, cause, item, part_code,
        quantile_cont(length::DOUBLE, 0.1) / 1000 AS length_m_p10, quantile_cont(length::DOUBLE, 0.9) / 1000 AS length_m_p90
    FROM long GROUP BY ALL
)
SELECT region_level, region_code, CASE cause $causes ELSE 'every' END AS cause_code, item_id, part_code,
    length_m_p10, length_m_p90,
    round(coalesce((length_m_p90 - length_m_p10) ** 2
        / nullif(sum((length_m_p90 - length_m_p10) ** 2) OVER (PARTITION BY region_level, region_code, cause, item), 0), 0),
        9) AS share_band_fraction
FROM widths JOIN items USING (item)
ORDER BY ALL;
