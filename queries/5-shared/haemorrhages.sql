-- haemorrhages: the major haemorrhage activations of the whole hospital, each once, whether told by events, by units that name it, or by both.
--
-- reads:     issues, events, policy, local_days, months
WITH building AS (
    SELECT policy.activation_before_h, policy.massive_red_cell_h
    FROM policy
    WHERE policy.from_date IS NULL
),

-- Units of one instant and activation tell it once: among equals nothing says which
-- comes first, and the count must not hang on that.
told AS (
    SELECT DISTINCT
        issues.patient_id,
        issues.activation_id,
        issues.issued_at AS at,
        issues.issued_at AS through,
        CAST(NULL AS TIMESTAMP) AS activated_at,
        false AS stood_down
    FROM issues
    WHERE issues.activation_id IS NOT NULL AND issues.issued_at IS NOT NULL
    UNION ALL
    SELECT
        events.patient_id,
        NULL,
        events.at,
        -- An activation told as a date alone may have been at any time of its day.
        CASE WHEN told_as_date(events.date_only, 'at') THEN events.at + hours(24) ELSE events.at END,
        CASE WHEN events.detail IS DISTINCT FROM 'stood_down' AND NOT told_as_date(events.date_only, 'at') THEN events.at END,
        events.detail IS NOT DISTINCT FROM 'stood_down'
    FROM events
    WHERE events.kind = 'activation'
),

-- Units for nobody that is known hold together by the activation they name.
followed AS (
    SELECT
        told.*,
        CASE WHEN told.patient_id IS NULL THEN told.activation_id END AS for_nobody,
        max(told.through) OVER before AS through_before,
        lag(told.activation_id) OVER before AS activation_before
    FROM told
    WINDOW before AS (
        PARTITION BY told.patient_id, CASE WHEN told.patient_id IS NULL THEN told.activation_id END
        ORDER BY told.at, told.stood_down, told.activation_id NULLS FIRST
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    )
),

-- What is told within activation_before_h of the last word is the same
-- activation; a day later at most if it names the same one.
numbered AS (
    SELECT
        followed.*,
        sum(CASE
            WHEN followed.through_before IS NULL THEN 1
            WHEN followed.at <= followed.through_before + hours(building.activation_before_h) THEN 0
            WHEN followed.activation_id = followed.activation_before AND followed.at <= followed.through_before + hours(building.massive_red_cell_h) THEN 0
            ELSE 1
        END) OVER (
            PARTITION BY followed.patient_id, followed.for_nobody
            ORDER BY followed.at, followed.stood_down, followed.activation_id NULLS FIRST
            ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ) AS place
    FROM followed
    CROSS JOIN building
),

gathered AS (
    SELECT
        numbered.patient_id,
        numbered.for_nobody,
        numbered.place,
        min(numbered.at) AS first_at,
        max(numbered.through) AS last_at,
        min(numbered.activated_at) AS activated_at,
        -- At one instant standing down comes last.
        max_by(numbered.stood_down, (numbered.at, numbered.stood_down)) AS stood_down
    FROM numbered
    GROUP BY numbered.patient_id, numbered.for_nobody, numbered.place
)

SELECT
    row_number() OVER (ORDER BY gathered.first_at, gathered.patient_id, gathered.for_nobody, gathered.place) AS activation,
    gathered.patient_id,
    gathered.for_nobody,
    months.month,
    gathered.first_at,
    gathered.last_at + hours(building.activation_before_h) AS closes_at,
    gathered.activated_at,
    gathered.stood_down
FROM gathered
CROSS JOIN building
ASOF INNER JOIN local_days ON gathered.first_at >= local_days.starts_at
INNER JOIN months ON months.month = strftime(local_days.day, '%Y-%m')
