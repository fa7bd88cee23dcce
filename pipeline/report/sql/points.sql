-- Points of the wells with the family of their pipe, in the order of the key.
SELECT s.source_id, w.longitude_deg AS lon, w.latitude_deg AS lat, e.family_code
FROM selection AS s
JOIN wells AS w USING (source_id, well_id)
LEFT JOIN equipped AS e USING (source_id, well_id)
WHERE w.longitude_deg BETWEEN -180 AND 180 AND w.latitude_deg BETWEEN -90 AND 90
ORDER BY s.source_id, s.well_id
