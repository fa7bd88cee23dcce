-- The common depth rule against the calculation, by family of the recommended pipe.
SELECT practice_note_code AS code, coalesce(family_code, 'none') AS family_code, count(*) AS wells
FROM equipped
WHERE practice_note_code IS NOT NULL
GROUP BY code, family_code ORDER BY code, family_code
