-- Expected values and percentiles over the draws, taken at each level by itself. Draws without the item count as
-- none of it: their noughts are put in front of the sorted values before a percentile is read, which interpolates
-- between order statistics as quantile_cont does.
CREATE OR REPLACE MACRO point_of(found, share) AS (
    WITH padded AS (
        SELECT list_concat(list_resize([]::DOUBLE[], greatest($draws - len(found), 0), 0.0), list_sort(found)) AS v
    )
    SELECT v[floor(share * ($draws - 1))::INT + 1]
        + (share * ($draws - 1) - floor(share * ($draws - 1)))
        * (v[least(floor(share * ($draws - 1))::INT + 2, $draws)] - v[floor(share * ($draws - 1))::INT + 1])
    FROM padded
);
