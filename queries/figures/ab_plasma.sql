-- ab_plasma: Who got the plasma of group AB, which everybody can take?
--
-- reads:     bags, units, episodes, patients, period
-- points:    recipient: label; Group of the recipient
--            emergency: count; In a major haemorrhage
--            other: count; Otherwise
-- answer:    n: count; Given to another known group, outside major haemorrhage
--            of: count; Units of group AB given
--            not_known: count; To recipients of unknown group
--            lost: units; Units of group AB thrown away
-- means:     emergency: alone, it counts units of group AB, which no other figure does
--            other: alone, it counts units of group AB, which no other figure does
--            answer n: sum of other where recipient A|B|O
--            answer of: sum of emergency + other
--            answer not_known: sum of emergency + other where recipient not known
-- needs:     emergency + other where recipient none of not known: patients
--            answer n: patients
-- not known: units whose own group is not recorded are left out; a recipient without a recorded group is a line of its own
WITH

given AS (
    SELECT
        CASE
            WHEN patients.abo = 'AB' THEN 1
            WHEN patients.abo = 'A' THEN 2
            WHEN patients.abo = 'B' THEN 3
            WHEN patients.abo = 'O' THEN 4
            ELSE 5
        END AS place,
        coalesce(episodes.basis = 'major_haemorrhage', false) AS emergency
    FROM bags
    CROSS JOIN period
    INNER JOIN units ON units.bag = bags.bag AND units.given
    LEFT JOIN episodes ON episodes.episode_id = units.episode_id
    LEFT JOIN patients ON patients.patient_id = units.patient_id
    WHERE bags.unit_abo = 'AB' AND bags.month BETWEEN period.year_from_month AND period.to_month
)

SELECT
    names.recipient AS recipient,
    count(*) FILTER (given.emergency) AS emergency,
    count(*) FILTER (NOT given.emergency) AS other
FROM (VALUES (1, 'AB'), (2, 'A'), (3, 'B'), (4, 'O'), (5, 'not known')) AS names(place, recipient)
LEFT JOIN given ON given.place = names.place
GROUP BY names.place, names.recipient
ORDER BY names.place
-- answer
SELECT
    coalesce(sum(points.other) FILTER (points.recipient IN ('A', 'B', 'O')), 0)::BIGINT AS n,
    coalesce(sum(points.emergency + points.other), 0)::BIGINT AS of,
    coalesce(sum(points.emergency + points.other) FILTER (points.recipient = 'not known'), 0)::BIGINT AS not_known,
    (SELECT count(*)
        FROM bags
        CROSS JOIN period
        WHERE bags.unit_abo = 'AB' AND bags.fate = 'discarded' AND NOT bags.frozen_loss
            AND bags.month BETWEEN period.year_from_month AND period.to_month) AS lost
FROM points
