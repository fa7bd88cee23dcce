-- Where the points of each source lie; the box leaves out the outermost half per cent on every side.
SELECT s.source_id, count(*) AS wells, count(w.longitude_deg) FILTER (WHERE w.latitude_deg IS NOT NULL) AS points,
    quantile_cont(w.longitude_deg, 0.005) AS west, quantile_cont(w.longitude_deg, 0.995) AS east,
    quantile_cont(w.latitude_deg, 0.005) AS south, quantile_cont(w.latitude_deg, 0.995) AS north,
    min(w.longitude_deg) AS west_most, max(w.longitude_deg) AS east_most,
    min(w.latitude_deg) AS south_most, max(w.latitude_deg) AS north_most
FROM selection AS s
JOIN wells AS w USING (source_id, well_id)
GROUP BY s.source_id ORDER BY points DESC, s.source_id
