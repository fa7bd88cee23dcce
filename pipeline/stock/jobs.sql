-- What the wells of each place take of each item: goods by whole quantity, coiled pipe by the length needed.
-- Weights are whole thousandths, so that the order of the wells changes no digit.
CREATE OR REPLACE TEMP TABLE places AS
SELECT
    source_id, well_id, region_key(area_code, region_code) AS place, option_id, length_drop_pipe_m,
    round(coalesce(weight_inclusion_fraction, 1) * 1000)::BIGINT AS weight_milli
FROM $selection
WHERE option_id IS NOT NULL AND length_drop_pipe_m >= 0
    AND outcome_code IN ('recommended', 'recommended_with_caution');

CREATE OR REPLACE TEMP TABLE amounts AS
SELECT place, item_id, greatest(ceil(quantity - 1e-6), 1)::BIGINT AS amount, sum(weight_milli)::BIGINT AS weight_milli
FROM $bill_lines JOIN places USING (source_id, well_id)
WHERE quantity > 0
GROUP BY ALL
ORDER BY ALL;

CREATE OR REPLACE TEMP TABLE needs AS
SELECT
    place, option_id AS item_id,
    ceil((length_drop_pipe_m + $make_up) / step - 1e-6)::BIGINT AS need, sum(weight_milli)::BIGINT AS weight_milli
FROM places JOIN coil_steps ON option_id = item_id
GROUP BY ALL
ORDER BY ALL;

CREATE OR REPLACE TEMP TABLE standing AS
SELECT place, sum(weight_milli) / 1000.0 AS wells FROM places GROUP BY place ORDER BY place;
