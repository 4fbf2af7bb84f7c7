-- bedside: the bedside records that are true now, and whether each found its issue.
--
-- reads:     bedside_matches
SELECT
    bedside_matches.* EXCLUDE (reading_order, record_no, bag, issued_at),
    bedside_matches.bag IS NOT NULL AS joined
FROM bedside_matches
ORDER BY
    bedside_matches.unit_no,
    bedside_matches.product_code NULLS FIRST,
    bedside_matches.bag_no NULLS FIRST,
    bedside_matches.patient_id NULLS FIRST,
    bedside_matches.started_at
