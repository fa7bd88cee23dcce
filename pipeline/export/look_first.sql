-- Order in which a person should look at the wells. Every flagged well has one leading reason: its
-- gravest flag, a flag that would change the choice before one that would not; where no pipe passes,
-- that is the reason. The first well of each reason comes before the second of any, so that the head of the list shows different troubles;
-- inside a reason the one with most flags, the least sure choice and the longest pipe comes first.
WITH flagged AS (
    SELECT
        source_id, well_id, code, severity_code,
        CASE severity_code WHEN 'stop' THEN 0 WHEN 'caution' THEN 1 ELSE 2 END AS gravity,
        coalesce(would_change_choice, false) AS changes
    FROM risks
),
gravest AS (
    SELECT
        source_id, well_id,
        arg_min(code, (gravity, NOT changes, code)) AS leading_flag,
        min(gravity) AS gravity,
        bool_or(changes) AS changes,
        count(*) FILTER (WHERE gravity = 0) AS stops,
        count(*) FILTER (WHERE gravity = 1) AS cautions
    FROM flagged
    GROUP BY source_id, well_id
),
candidates AS (
    SELECT
        s.source_id, s.well_id, s.area_code, s.region_code, s.use_code, s.grade_code, s.outcome_code,
        s.option_id, s.family_code, s.length_drop_pipe_m, s.choice_share_fraction,
        CASE WHEN s.outcome_code = 'none_passes' THEN 'none_passes'
            ELSE coalesce(l.leading_flag, s.outcome_code) END AS leading_reason,
        coalesce(l.stops, 0) AS stops,
        coalesce(l.cautions, 0) AS cautions,
        CASE WHEN s.outcome_code = 'none_passes' THEN 0 ELSE coalesce(l.gravity, 3) END AS gravity,
        coalesce(l.changes, false) AS changes
    FROM selection AS s
    LEFT JOIN gravest AS l USING (source_id, well_id)
    WHERE l.well_id IS NOT NULL OR s.option_id IS NULL
),
placed AS (
    SELECT
        *,
        row_number() OVER (
            PARTITION BY leading_reason
            ORDER BY changes DESC, stops DESC, cautions DESC, coalesce(choice_share_fraction, 0),
                length_drop_pipe_m DESC NULLS LAST, source_id, well_id
        ) AS place_in_reason
    FROM candidates
)
SELECT
    row_number() OVER (
        ORDER BY gravity = 3, place_in_reason > 2, gravity, place_in_reason, NOT changes, stops DESC, leading_reason,
            source_id, well_id
    ) AS place,
    source_id, well_id, area_code, region_code, use_code, grade_code, outcome_code, option_id, family_code,
    length_drop_pipe_m, choice_share_fraction, leading_reason, stops, cautions, changes AS would_change_choice
FROM placed
ORDER BY place
