-- unit_facts: every plasma unit and issue, with the episode it belongs to and the key by which findings name it.
--
-- reads:     component_units, episode_units
SELECT
    component_units.*,
    episode_units.episode_id,
    episode_units.place,
    component_units.unit_no || '|' || component_units.product_code || '|' || coalesce(component_units.patient_id, '') || '|'
    || coalesce(strftime(component_units.issued_at, '%Y-%m-%dT%H:%M:%S')
        || CASE
            WHEN epoch_us(component_units.issued_at) % 1000000 <> 0
            THEN '.' || lpad(CAST(epoch_us(component_units.issued_at) % 1000000 AS VARCHAR), 6, '0')
            ELSE ''
        END || 'Z', '') AS key
FROM component_units
LEFT JOIN episode_units ON episode_units.unit_row = component_units.rowid
WHERE component_units.component = 'plasma'
