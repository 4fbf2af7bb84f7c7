-- episode_units: the plasma units of each episode: a unit opens an episode where it was issued more than the gap after the latest touch of every earlier one.
--
-- reads:     component_units, building
WITH touched AS (
    SELECT
        component_units.rowid AS unit_row,
        component_units.unit_no,
        component_units.product_code,
        component_units.bag_no,
        component_units.bag,
        component_units.patient_id,
        component_units.issued_at,
        CASE WHEN component_units.given THEN component_units.finish ELSE component_units.issued_at END AS touched_at
    FROM component_units
    WHERE component_units.component = 'plasma'
        AND component_units.patient_id IS NOT NULL
        AND component_units.issued_at IS NOT NULL
),

-- The latest touch of all earlier units, not of the last one: a long unit may
-- end after a later, shorter one.
followed AS (
    SELECT
        touched.unit_row,
        touched.unit_no,
        touched.patient_id,
        touched.issued_at,
        row_number() OVER in_order AS patient_place,
        max(touched.touched_at) OVER (in_order ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS touched_before
    FROM touched
    WINDOW in_order AS (
        PARTITION BY touched.patient_id
        ORDER BY touched.issued_at, touched.unit_no, touched.product_code, touched.bag_no NULLS FIRST, touched.bag
    )
),

openings AS (
    SELECT
        followed.patient_id,
        followed.patient_place AS first_place,
        lead(followed.patient_place) OVER (PARTITION BY followed.patient_id ORDER BY followed.patient_place) AS next_first_place,
        followed.issued_at AS first_issued_at,
        substr(sha256(
            followed.patient_id || '|' || strftime(followed.issued_at, '%Y-%m-%dT%H:%M:%S')
            || CASE
                WHEN epoch_us(followed.issued_at) % 1000000 <> 0
                THEN '.' || lpad(CAST(epoch_us(followed.issued_at) % 1000000 AS VARCHAR), 6, '0')
                ELSE ''
            END
            || 'Z|' || followed.unit_no
        ), 1, 16) AS episode_id
    FROM followed
    CROSS JOIN building
    WHERE followed.touched_before IS NULL OR followed.issued_at > followed.touched_before + hours(building.episode_gap_h)
)

SELECT
    followed.unit_row,
    openings.episode_id,
    followed.patient_place - openings.first_place + 1 AS place,
    openings.first_issued_at
FROM followed
INNER JOIN openings
    ON openings.patient_id = followed.patient_id
    AND followed.patient_place >= openings.first_place
    AND (openings.next_first_place IS NULL OR followed.patient_place < openings.next_first_place)
