-- aliases: the aliases that are true now, each with the number in which it ends.
--
-- reads:     standing_aliases, alias_ends
SELECT
    standing_aliases.* EXCLUDE (reading_file, reading_order, standing)
        REPLACE (coalesce(alias_ends.patient_id, standing_aliases.patient_id) AS patient_id)
FROM standing_aliases
LEFT JOIN alias_ends ON alias_ends.alias = standing_aliases.alias
WHERE standing_aliases.standing = 'current'
ORDER BY standing_aliases.alias
