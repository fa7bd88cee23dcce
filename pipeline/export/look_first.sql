-- Order in which a person should look at the wells. A well is listed when it carries a stop or a
-- caution, or when no pipe passes. Its leading reason is its gravest flag, a flag that would change
-- the choice before one that would not; where no pipe passes, that is the reason. The first two wells
-- of each reason come before the third of any, so that the head of the list shows different troubles;
-- inside a reason the one with most flags, the least sure choice and the longest pipe comes first.
WITH codes AS (
    SELECT code, row_number() OVER (ORDER BY code) AS number FROM (SELECT DISTINCT code FROM risks)
),
flagged AS (
    SELECT
        source_id, well_id,
        CASE severity_code WHEN 'stop' THEN 0 ELSE 1 END AS gravity,
        coalesce(would_change_choice, false) AS changes,
        codes.number
    FROM risks JOIN codes USING (code)
    WHERE severity_code IN ('stop', 'caution')
),
gravest AS (
    -- gravity, whether it changes the choice and the code in one whole number: its least is the leading flag
    SELECT
        source_id, well_id,
        min((gravity * 2 + (NOT changes)::INTEGER) * 100000 + number) AS leading,
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
        CASE WHEN s.outcome_code = 'none_passes' THEN 0 ELSE g.leading % 100000 END AS reason_number,
        CASE WHEN s.outcome_code = 'none_passes' OR g.leading < 200000 THEN 0 ELSE 1 END AS gravity,
        coalesce(g.stops, 0) AS stops,
        coalesce(g.cautions, 0) AS cautions,
        coalesce(g.changes, false) AS changes
    FROM selection AS s
    LEFT JOIN gravest AS g USING (source_id, well_id)
    WHERE g.well_id IS NOT NULL OR s.outcome_code = 'none_passes'
),
placed AS (
    SELECT
        *,
        row_number() OVER (
            PARTITION BY reason_number
            ORDER BY gravity, changes DESC, stops DESC, cautions DESC, coalesce(choice_share_fraction, 0),
                length_drop_pipe_m DESC NULLS LAST, source_id, well_id
        ) AS place_in_reason
    FROM candidates
)
SELECT
    row_number() OVER (
        ORDER BY place_in_reason > 2, gravity, place_in_reason, NOT changes, stops DESC, reason_number,
            source_id, well_id
    ) AS place,
    source_id, well_id, area_code, region_code, use_code, grade_code, outcome_code, option_id, family_code,
    length_drop_pipe_m, choice_share_fraction,
    CASE WHEN reason_number = 0 THEN 'none_passes' ELSE codes.code END AS leading_reason,
    stops, cautions, changes AS would_change_choice
FROM placed
LEFT JOIN codes ON codes.number = reason_number
$head
ORDER BY place
