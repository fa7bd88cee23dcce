-- One row a well: what is known, what is recommended, how firm it is.
SELECT
    s.source_id, s.well_id, s.area_code, s.region_code, s.use_code, s.grade_code, s.outcome_code,
    d.depth_completed_m, d.depth_completed_basis_code, d.depth_static_m, d.depth_static_basis_code,
    d.flow_duty_m3_per_s, d.depth_pumping_m,
    d.depth_pump_m, d.depth_pump_m_low, d.depth_pump_m_high, d.depth_pump_basis_code,
    s.length_drop_pipe_m, s.head_total_dynamic_m, d.temperature_water_degc, d.acidity_ph,
    d.diameter_casing_inside_m, s.option_id, s.family_code, s.piece_count, s.joint_count,
    s.governs_check_code, s.utilisation_max_fraction, s.choice_share_fraction, s.size_share_fraction,
    s.alternate_1_option_id, s.alternate_2_option_id, s.practice_note_code,
    s.mass_lowered_kg, s.install_method_code, s.cost_first, s.cost_present, s.currency,
    r.code AS code
FROM selection AS s
JOIN design AS d USING (source_id, well_id)
LEFT JOIN (
    SELECT source_id, well_id, string_agg(code, ' ' ORDER BY code) AS code
    FROM risks
    WHERE severity_code IN ('stop', 'caution')
    GROUP BY source_id, well_id
) AS r USING (source_id, well_id)
ORDER BY s.source_id, s.well_id
