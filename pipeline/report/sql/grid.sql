-- Wells of one source counted into square cells, for maps too full for single points.
SELECT
    floor((w.longitude_deg - $west) / $step_lon)::INTEGER AS column_number,
    floor((w.latitude_deg - $south) / $step_lat)::INTEGER AS row_number,
    count(*) AS wells
FROM selection AS s
JOIN wells AS w USING (source_id, well_id)
WHERE s.source_id = $source AND w.longitude_deg BETWEEN $west AND $east AND w.latitude_deg BETWEEN $south AND $north
GROUP BY ALL ORDER BY row_number, column_number
