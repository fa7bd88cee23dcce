-- Wells for which a pipe is recommended: those that material is summed over. A flowing well may carry
-- a pipe as advice, but needs its wellhead first.
CREATE VIEW equipped AS
SELECT * FROM selection
WHERE option_id IS NOT NULL AND outcome_code IN ('recommended', 'recommended_with_caution')
