-- activations: the activations of an episode's patient in its window, and those that its own issues name; and whether the last one in the window was stood down.
--
-- reads:     episode_times, component_units, unit_facts, event_spans, building
WITH windows AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0 - hours(building.activation_before_h) AS opens_at,
        episode_times.t1 AS closes_at
    FROM episode_times
    CROSS JOIN building
),

told AS (
    SELECT
        windows.episode_id,
        event_spans.at,
        event_spans.detail IS NOT DISTINCT FROM 'stood_down' AS stood_down,
        true AS in_window,
        event_spans.source_file,
        event_spans.source_row
    FROM windows
    INNER JOIN event_spans
        ON event_spans.patient_id = windows.patient_id
        AND event_spans.kind = 'activation'
        AND event_spans.at <= windows.closes_at
        AND event_spans.through >= windows.opens_at
    UNION ALL
    SELECT
        windows.episode_id,
        component_units.issued_at,
        false,
        true,
        component_units.source_file,
        component_units.source_row
    FROM windows
    INNER JOIN component_units
        ON component_units.patient_id = windows.patient_id
        AND component_units.activation_id IS NOT NULL
        AND component_units.issued_at BETWEEN windows.opens_at AND windows.closes_at
    UNION ALL
    SELECT
        windows.episode_id,
        unit_facts.issued_at,
        false,
        false,
        unit_facts.source_file,
        unit_facts.source_row
    FROM windows
    INNER JOIN unit_facts
        ON unit_facts.episode_id = windows.episode_id
        AND unit_facts.activation_id IS NOT NULL
        AND NOT (unit_facts.issued_at BETWEEN windows.opens_at AND windows.closes_at)
)

SELECT
    told.*,
    -- At one instant standing down comes last.
    first_value(told.stood_down) OVER (
        PARTITION BY told.episode_id
        ORDER BY told.in_window DESC, told.at DESC, told.stood_down DESC
        ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
    ) AS last_stood_down
FROM told
