-- red_cells_given: the red-cell units given to patients with plasma.
--
-- reads:     component_units, recipients
SELECT
    component_units.bag,
    component_units.patient_id,
    component_units.issued_at,
    component_units.started_at,
    component_units.begin,
    component_units.source_file,
    component_units.source_row
FROM component_units
WHERE component_units.component = 'red_cells'
    AND component_units.given
    AND component_units.issued_at IS NOT NULL
    AND component_units.patient_id IN (SELECT recipients.patient_id FROM recipients)
