-- medicine_spans: the medicines of patients with plasma, each to the last instant at which it may have been given.
--
-- reads:     medicines, recipients, local_days
SELECT
    medicines.patient_id,
    medicines.medicine,
    medicines.given_at,
    coalesce(local_days.ends_at, medicines.given_at) AS given_through
FROM medicines
LEFT JOIN local_days ON local_days.starts_at = CASE WHEN told_as_date(medicines.date_only, 'given_at') THEN medicines.given_at END
WHERE medicines.patient_id IN (SELECT recipients.patient_id FROM recipients)
