-- Views with plain names, for anyone who opens the database. One statement each; the comment above a
-- statement becomes the comment of the view. SI units, as everywhere in the tables.

-- Wells of each region by family of the recommended pipe, with their share of the region.
CREATE OR REPLACE VIEW families_by_region AS
SELECT
    coalesce(area_code, '$not_stated') AS area,
    coalesce(region_code, '$not_stated') AS region,
    coalesce(family_code, 'none') AS family,
    count(*) AS wells,
    count(*) / sum(count(*)) OVER (PARTITION BY area_code, region_code) AS share_of_region,
    median(length_drop_pipe_m) AS length_median_m
FROM selection
GROUP BY area_code, region_code, family_code
ORDER BY area, region, family;

-- Length of drop pipe of the wells with a recommended pipe by region, every well at its low, base and high end; weighted as wells in scope.
CREATE OR REPLACE VIEW pipe_length_by_region AS
SELECT
    coalesce(s.area_code, '$not_stated') AS area,
    coalesce(s.region_code, '$not_stated') AS region,
    count(*) AS wells,
    sum(round(d.length_drop_pipe_m_low * s.weight_inclusion_fraction * 1000)::BIGINT) / 1000 AS length_low_m,
    sum(round(d.length_drop_pipe_m * s.weight_inclusion_fraction * 1000)::BIGINT) / 1000 AS length_base_m,
    sum(round(d.length_drop_pipe_m_high * s.weight_inclusion_fraction * 1000)::BIGINT) / 1000 AS length_high_m
FROM selection AS s
JOIN design AS d USING (source_id, well_id)
WHERE s.option_id IS NOT NULL AND s.outcome_code IN ('recommended', 'recommended_with_caution')
GROUP BY s.area_code, s.region_code
ORDER BY area, region;

-- Material of the whole run, item by item, with the spread of the draws.
CREATE OR REPLACE VIEW material_of_the_run AS
SELECT
    item_id, wells_count,
    pieces_expected, pieces_p10, pieces_p50, pieces_p90,
    length_m_expected, mass_kg_expected, cost_expected, currency
FROM demand
WHERE region_level = 'all' AND year IS NULL
ORDER BY item_id;

-- Material by region, item by item. Percentiles are taken in each region and do not add.
CREATE OR REPLACE VIEW material_by_region AS
SELECT
    region_code AS region, item_id, wells_count,
    pieces_expected, pieces_p10, pieces_p50, pieces_p90,
    length_m_expected, length_m_p10, length_m_p50, length_m_p90,
    mass_kg_expected, cost_expected, currency
FROM demand
WHERE region_level = 'region' AND year IS NULL
ORDER BY region, item_id;

-- Material by year and cause at every level, item by item. Cause 'every' is the sum of the causes; percentiles do not add.
CREATE OR REPLACE VIEW material_by_year AS
SELECT
    region_level AS level, region_code AS region, year, cause_code AS cause, item_id, wells_count,
    pieces_expected, pieces_p10, pieces_p50, pieces_p90,
    length_m_expected, length_m_p10, length_m_p50, length_m_p90,
    mass_kg_expected, cost_expected, currency
FROM demand
WHERE year IS NOT NULL
ORDER BY level, region, year, cause, item_id;

-- What decides the pipe: wells by the check with the highest share of its limit used.
CREATE OR REPLACE VIEW what_governs AS
SELECT family_code AS family, governs_check_code AS governs, count(*) AS wells,
    median(utilisation_max_fraction) AS share_used_median
FROM selection
WHERE option_id IS NOT NULL AND outcome_code IN ('recommended', 'recommended_with_caution')
GROUP BY family_code, governs_check_code
ORDER BY wells DESC, family, governs;

-- Why each other family was not chosen: wells by reason and check, with the median of what was needed and available.
CREATE OR REPLACE VIEW why_not AS
SELECT family_code AS family, reason_code AS reason, check_code AS "check", unit, count(*) AS wells,
    median(need) AS need_median, median(have) AS have_median, median(cost_extra) AS cost_extra_median
FROM not_chosen
GROUP BY family_code, reason_code, check_code, unit
ORDER BY family, wells DESC, reason, "check", unit;

-- Risk flags by code and severity, and how many of them would change the choice.
CREATE OR REPLACE VIEW flags_by_code AS
SELECT code, severity_code AS severity, count(*) AS wells,
    count(*) FILTER (WHERE would_change_choice) AS would_change_the_choice
FROM risks
GROUP BY code, severity_code
ORDER BY code, severity;

-- What to order now, branch by branch, with what the reorder point rests on; only after wellstring stock.
CREATE OR REPLACE VIEW stock_to_order AS
SELECT
    branch_id AS branch, stock_id AS item, order_pieces AS pieces, cost, currency, reorder_point_pieces AS reorder_point,
    order_up_to_pieces AS order_up_to, on_hand_pieces AS on_hand, jobs_yearly, pieces_job AS pieces_a_job, lead_time_days,
    demand_class_code AS demand_class, stock_method_code AS method, service_cycle_fraction AS service,
    fill_rate_fraction AS fill_rate
FROM stock_plan
WHERE order_pieces > 0
ORDER BY branch, item;

-- Wells in the order in which a person should look at them; place 1 first. See look_first for the rule of the order.
CREATE OR REPLACE VIEW wells_to_look_at AS
$look_first;
