-- suspect_weights: weights that are impossible for the age or against the patient's other weights.
--
-- reads:     weights_checked
SELECT
    weights_checked.patient_id,
    weights_checked.measured_at,
    weights_checked."method",
    CAST(weights_checked.weight_kg AS DECIMAL(18, 3)) AS weight_kg,
    weights_checked.reason,
    weights_checked.source_file,
    weights_checked.source_row
FROM weights_checked
WHERE weights_checked.reason IS NOT NULL
