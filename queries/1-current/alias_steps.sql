-- alias_steps: every number that can be reached from an alias, step by step.
--
-- reads:     standing_aliases
WITH RECURSIVE links AS (
    -- A number that became itself says nothing.
    SELECT standing_aliases.alias, standing_aliases.patient_id
    FROM standing_aliases
    WHERE standing_aliases.standing = 'current' AND standing_aliases.alias <> standing_aliases.patient_id
),
steps AS (
    SELECT links.alias, links.patient_id
    FROM links
    -- UNION, not UNION ALL: in a circle no step is new, and the walk ends.
    UNION
    SELECT steps.alias, links.patient_id
    FROM steps
    JOIN links ON links.alias = steps.patient_id
)
SELECT
    steps.alias,
    steps.patient_id,
    links.alias IS NULL AS is_end
FROM steps
LEFT JOIN links ON links.alias = steps.patient_id
