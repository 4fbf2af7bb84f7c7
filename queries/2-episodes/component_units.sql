-- component_units: every plasma unit, and the units of other components of patients with plasma, with its volume, what was given of it, and when.
--
-- reads:     issues, plasma_patients, building
WITH counted AS (
    SELECT
        issues.bag,
        issues.unit_no,
        issues.product_code,
        issues.bag_no,
        issues.component,
        issues.product,
        issues.patient_id,
        issues.issued_at,
        issues.issued_local,
        issues.fate,
        -- A presumed unit that does not count as given is a unit of unknown fate.
        (issues.fate = 'transfused' OR (issues.fate = 'presumed' AND building.presumed_is_transfused)) AS given,
        (issues.fate = 'unknown' OR (issues.fate = 'presumed' AND NOT building.presumed_is_transfused)) AS fate_unknown,
        CAST(coalesce(issues.volume_ml, issues.nominal_ml, building.default_unit_ml) AS DECIMAL(18, 3)) AS volume,
        CASE
            WHEN issues.volume_ml IS NOT NULL THEN 'recorded'
            WHEN issues.nominal_ml IS NOT NULL THEN 'nominal'
            ELSE 'assumed'
        END AS volume_basis,
        issues.nominal_ml,
        issues.transfused_ml,
        issues.unit_abo,
        issues.location,
        issues.indication,
        issues.indication_raw,
        issues.discard_reason,
        issues.activation_id,
        issues.requested_at,
        issues.thawed_at,
        issues.left_storage_at,
        issues.started_at,
        issues.ended_at,
        issues.returned_at,
        issues.discarded_at,
        issues.expires_at,
        issues.date_only,
        coalesce(issues.started_at, issues.issued_at) AS begin,
        coalesce(
            issues.ended_at,
            issues.started_at + minutes(building.assumed_infusion_min),
            issues.issued_at + minutes(building.assumed_issue_to_end_min)
        ) AS finish,
        CASE WHEN issues.started_at IS NOT NULL AND issues.ended_at IS NOT NULL THEN 'recorded' ELSE 'assumed' END AS times_basis,
        issues.specialty,
        issues.requester,
        issues.source_file,
        issues.source_row
    FROM issues
    CROSS JOIN building
    WHERE issues.component = 'plasma'
        OR issues.patient_id IN (SELECT plasma_patients.patient_id FROM plasma_patients)
)

SELECT
    counted.*,
    CAST(CASE WHEN counted.given THEN coalesce(counted.transfused_ml, counted.volume) ELSE 0 END AS DECIMAL(18, 3)) AS given_ml
FROM counted
