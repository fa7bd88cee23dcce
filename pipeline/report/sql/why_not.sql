-- Why the other families were not chosen, with the middle values of what was needed and available.
SELECT family_code, reason_code, check_code, unit, count(*) AS wells,
    median(need) AS need, median(have) AS have, median(cost_extra) AS cost_extra
FROM not_chosen
GROUP BY family_code, reason_code, check_code, unit
ORDER BY wells DESC, family_code, reason_code, check_code, unit
