-- Bill of materials, line by line.
SELECT * FROM bill_lines ORDER BY source_id, well_id, line_number
