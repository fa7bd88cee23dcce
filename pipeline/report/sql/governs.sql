-- Check that governs, by family, among wells with a recommended pipe.
SELECT coalesce(governs_check_code, 'none') AS code, family_code, count(*) AS wells,
    median(utilisation_max_fraction) AS used
FROM equipped
GROUP BY code, family_code ORDER BY code, family_code
