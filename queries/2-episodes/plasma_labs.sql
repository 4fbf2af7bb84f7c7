-- plasma_labs: the results of patients with plasma that hold a value or say unclottable, slim.
--
-- reads:     labs, plasma_patients, building, local_days
WITH kept AS (
    SELECT
        labs.patient_id,
        labs.test,
        labs.value,
        CASE WHEN labs.no_value = 'unclottable' AND labs.value IS NULL THEN 'unclottable' ELSE labs.bound END AS bound,
        labs.point_of_care,
        labs.collected_at,
        labs.resulted_at,
        labs.date_only
    FROM labs
    WHERE labs.test IN ('inr', 'pt_ratio', 'aptt_ratio', 'viscoelastic', 'fibrinogen', 'hb', 'platelets')
        AND (labs.value IS NOT NULL OR labs.no_value = 'unclottable')
        AND labs.status <> 'cancelled'
        AND labs.patient_id IN (SELECT plasma_patients.patient_id FROM plasma_patients)
        AND (NOT labs.point_of_care OR (SELECT building.use_point_of_care FROM building))
)

SELECT
    kept.patient_id,
    kept.test,
    kept.value,
    kept.bound,
    kept.point_of_care,
    kept.collected_at,
    told_as_date(kept.date_only, 'collected_at') AS collected_as_date,
    coalesce(collected_days.ends_at, kept.collected_at) AS collected_through,
    kept.resulted_at,
    coalesce(resulted_days.ends_at, kept.resulted_at) AS resulted_through
FROM kept
LEFT JOIN local_days AS collected_days ON collected_days.starts_at = CASE WHEN told_as_date(kept.date_only, 'collected_at') THEN kept.collected_at END
LEFT JOIN local_days AS resulted_days ON resulted_days.starts_at = CASE WHEN told_as_date(kept.date_only, 'resulted_at') THEN kept.resulted_at END
