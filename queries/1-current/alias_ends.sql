-- alias_ends: each alias and the number in which it ends.
--
-- reads:     alias_steps
SELECT
    alias_steps.alias,
    alias_steps.patient_id
FROM alias_steps
WHERE alias_steps.is_end
ORDER BY alias_steps.alias
