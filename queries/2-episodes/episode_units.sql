-- episode_units: the plasma units of each episode: a unit opens an episode where it was issued more than the gap after the latest touch of every earlier one.
--
-- reads:     component_units, building
WITH touched AS (
    SELECT
        component_units.bag,
        component_units.unit_no,
        component_units.product_code,
        component_units.bag_no,
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
        touched.*,
        max(touched.touched_at) OVER (
            PARTITION BY touched.patient_id
            ORDER BY touched.issued_at, touched.unit_no, touched.product_code, touched.bag_no NULLS FIRST, touched.bag
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS touched_before
    FROM touched
),

numbered AS (
    SELECT
        followed.*,
        sum(CASE
            WHEN followed.touched_before IS NULL OR followed.issued_at > followed.touched_before + hours(building.episode_gap_h) THEN 1
            ELSE 0
        END) OVER (
            PARTITION BY followed.patient_id
            ORDER BY followed.issued_at, followed.unit_no, followed.product_code, followed.bag_no NULLS FIRST, followed.bag
            ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ) AS episode_no
    FROM followed
    CROSS JOIN building
),

placed AS (
    SELECT
        numbered.*,
        row_number() OVER (
            PARTITION BY numbered.patient_id, numbered.episode_no
            ORDER BY numbered.issued_at, numbered.unit_no, numbered.product_code, numbered.bag_no NULLS FIRST, numbered.bag
        ) AS place
    FROM numbered
),

named AS (
    SELECT
        placed.patient_id,
        placed.episode_no,
        placed.issued_at AS first_issued_at,
        substr(sha256(
            placed.patient_id || '|' || strftime(placed.issued_at, '%Y-%m-%dT%H:%M:%S')
            || CASE
                WHEN epoch_us(placed.issued_at) % 1000000 <> 0
                THEN '.' || lpad(CAST(epoch_us(placed.issued_at) % 1000000 AS VARCHAR), 6, '0')
                ELSE ''
            END
            || 'Z|' || placed.unit_no
        ), 1, 16) AS episode_id
    FROM placed
    WHERE placed.place = 1
)

SELECT
    placed.bag,
    placed.issued_at,
    placed.patient_id,
    placed.place,
    named.episode_id,
    named.first_issued_at
FROM placed
INNER JOIN named ON named.patient_id = placed.patient_id AND named.episode_no = placed.episode_no
