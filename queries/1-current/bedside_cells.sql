-- bedside_cells: what the bedside tells of each issue: of several records, the one that started first fills first.
--
-- reads:     bedside_matches
SELECT
    bedside_matches.bag,
    bedside_matches.issued_at,
    min_by(bedside_matches.started_at, (bedside_matches.started_at, bedside_matches.record_no)) AS started_at,
    min_by(bedside_matches.ended_at, (bedside_matches.started_at, bedside_matches.record_no))
        FILTER (WHERE bedside_matches.ended_at IS NOT NULL) AS ended_at,
    min_by(bedside_matches.transfused_ml, (bedside_matches.started_at, bedside_matches.record_no))
        FILTER (WHERE bedside_matches.transfused_ml IS NOT NULL) AS transfused_ml,
    min_by(bedside_matches.source_file, (bedside_matches.started_at, bedside_matches.record_no)) AS bedside_file,
    min_by(bedside_matches.source_row, (bedside_matches.started_at, bedside_matches.record_no)) AS bedside_row
FROM bedside_matches
WHERE bedside_matches.bag IS NOT NULL
GROUP BY bedside_matches.bag, bedside_matches.issued_at
