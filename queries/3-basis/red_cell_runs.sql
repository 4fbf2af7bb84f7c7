-- red_cell_runs: stretches of many red-cell units: many issued within a day, or several started within an hour.
--
-- reads:     red_cells_given, building
WITH massive AS (
    SELECT
        earliest.patient_id,
        earliest.issued_at AS first_at,
        max(later.issued_at) AS last_at
    FROM red_cells_given AS earliest
    CROSS JOIN building
    INNER JOIN red_cells_given AS later
        ON later.patient_id = earliest.patient_id
        AND later.issued_at BETWEEN earliest.issued_at AND earliest.issued_at + hours(building.massive_red_cell_h)
    GROUP BY earliest.patient_id, earliest.issued_at, earliest.bag
    HAVING count(*) >= any_value(building.massive_red_cell_units)
),

rapid AS (
    SELECT
        earliest.patient_id,
        earliest.started_at AS first_at,
        max(later.started_at) AS last_at
    FROM red_cells_given AS earliest
    CROSS JOIN building
    INNER JOIN red_cells_given AS later
        ON later.patient_id = earliest.patient_id
        AND later.started_at BETWEEN earliest.started_at AND earliest.started_at + hours(building.rapid_red_cell_h)
    GROUP BY earliest.patient_id, earliest.started_at, earliest.bag
    HAVING count(*) >= any_value(building.rapid_red_cell_units)
)

SELECT * FROM massive
UNION
SELECT * FROM rapid
