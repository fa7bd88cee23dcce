-- Wells with a recommended pipe by family, with length and first cost of the middle well.
SELECT
    family_code AS code,
    count(*) AS wells,
    median(length_drop_pipe_m) AS length_m,
    median(head_total_dynamic_m) AS head_m,
    count(*) FILTER (WHERE coalesce(family_share_fraction, choice_share_fraction) < 0.8) AS unsure
FROM equipped
GROUP BY code ORDER BY wells DESC, code
