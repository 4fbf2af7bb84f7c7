-- haemorrhage_units: the units of every component that were issued in a major haemorrhage: to its patient, from the first word of it to activation_before_h after the last, or naming it.
--
-- reads:     haemorrhages, issues, policy
SELECT
    haemorrhages.activation,
    issues.component,
    issues.fate,
    (issues.fate = 'transfused' OR (issues.fate = 'presumed' AND policy.presumed_is_transfused)) AS given,
    issues.issued_at,
    issues.started_at
FROM haemorrhages
INNER JOIN issues ON issues.patient_id = haemorrhages.patient_id AND issues.issued_at BETWEEN haemorrhages.first_at AND haemorrhages.closes_at
INNER JOIN policy ON policy.from_date IS NULL
UNION ALL
SELECT
    haemorrhages.activation,
    issues.component,
    issues.fate,
    (issues.fate = 'transfused' OR (issues.fate = 'presumed' AND policy.presumed_is_transfused)),
    issues.issued_at,
    issues.started_at
FROM haemorrhages
INNER JOIN issues ON issues.activation_id = haemorrhages.for_nobody AND issues.patient_id IS NULL AND issues.issued_at BETWEEN haemorrhages.first_at AND haemorrhages.closes_at
INNER JOIN policy ON policy.from_date IS NULL
