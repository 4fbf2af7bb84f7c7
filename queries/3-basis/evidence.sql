-- evidence: what speaks for bleeding, piece by piece.
--
-- reads:     episode_times, recipients, unit_facts, event_spans, activations, red_cells_given, hb_falls, building
WITH windows AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0,
        episode_times.t1,
        episode_times.t0 - hours(building.bleeding_before_h) AS opens_at
    FROM episode_times
    CROSS JOIN building
),

bleeding_events AS (
    SELECT
        windows.episode_id,
        'event' AS source,
        'recorded' AS strength,
        event_spans.at,
        event_spans.detail,
        event_spans.source_file,
        event_spans.source_row
    FROM windows
    INNER JOIN event_spans
        ON event_spans.patient_id = windows.patient_id
        AND event_spans.kind = 'bleeding'
        AND event_spans.at <= windows.t1
        AND event_spans.through >= windows.opens_at
),

-- Units of one issue with one reason are one piece of evidence.
indications AS (
    SELECT
        unit_facts.episode_id,
        'indication' AS source,
        'recorded' AS strength,
        unit_facts.issued_at AS at,
        unit_facts.indication AS detail,
        unit_facts.source_file,
        unit_facts.source_row
    FROM unit_facts
    WHERE unit_facts.episode_id IS NOT NULL AND unit_facts.indication IN ('bleeding', 'major_haemorrhage')
    QUALIFY row_number() OVER (PARTITION BY unit_facts.episode_id, unit_facts.issued_at ORDER BY unit_facts.indication DESC, unit_facts.source_file, unit_facts.source_row) = 1
),

activated AS (
    SELECT
        activations.episode_id,
        'activation' AS source,
        'recorded' AS strength,
        activations.at,
        -- A call that was stood down speaks for bleeding too where another came after it.
        CASE WHEN activations.stood_down THEN 'stood_down' END AS detail,
        activations.source_file,
        activations.source_row
    FROM activations
    WHERE NOT activations.last_stood_down
    QUALIFY row_number() OVER (PARTITION BY activations.episode_id, activations.at ORDER BY activations.stood_down, activations.source_file, activations.source_row) = 1
),

red_cells AS (
    SELECT
        windows.episode_id,
        'red_cells' AS source,
        'inferred' AS strength,
        min(red_cells_given.issued_at) AS at,
        CAST(count(*) AS VARCHAR) AS detail,
        min((red_cells_given.issued_at, red_cells_given.source_file, red_cells_given.source_row)) AS earliest
    FROM windows
    INNER JOIN recipients ON recipients.episode_id = windows.episode_id AND recipients.population = 'adult'
    CROSS JOIN building
    INNER JOIN red_cells_given
        ON red_cells_given.patient_id = windows.patient_id
        AND red_cells_given.issued_at BETWEEN windows.t0 - hours(building.red_cell_h) AND windows.t0 + hours(building.red_cell_h)
    GROUP BY windows.episode_id
    HAVING count(*) >= any_value(building.red_cell_units)
),

pieces AS (
    SELECT * FROM bleeding_events
    UNION ALL
    SELECT * FROM indications
    UNION ALL
    SELECT * FROM activated
    UNION ALL
    SELECT
        red_cells.episode_id,
        red_cells.source,
        red_cells.strength,
        red_cells.at,
        red_cells.detail,
        struct_extract(red_cells.earliest, 2),
        struct_extract(red_cells.earliest, 3)
    FROM red_cells
    UNION ALL
    SELECT
        hb_falls.episode_id,
        'hb_fall',
        'inferred',
        hb_falls.later_at,
        CAST(hb_falls.fall AS VARCHAR),
        NULL,
        NULL
    FROM hb_falls
)

SELECT
    pieces.episode_id,
    pieces.source,
    pieces.strength,
    pieces.at,
    pieces.detail,
    pieces.source_file,
    CAST(pieces.source_row AS BIGINT) AS source_row
FROM pieces
