-- Wells with a recommended pipe by region and family.
SELECT region_key(area_code, region_code) AS region, family_code AS code, count(*) AS wells
FROM equipped
GROUP BY region, code ORDER BY region, code
