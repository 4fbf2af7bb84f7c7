-- alias_circles: where aliases lead back to themselves, by their place alone; it must stay empty.
--
-- reads:     alias_steps, standing_aliases
SELECT
    standing_aliases.source_file,
    standing_aliases.source_row
FROM alias_steps
JOIN standing_aliases ON standing_aliases.alias = alias_steps.alias AND standing_aliases.standing = 'current'
WHERE alias_steps.alias = alias_steps.patient_id
ORDER BY standing_aliases.reading_order, standing_aliases.source_row
