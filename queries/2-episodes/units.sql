-- units: plasma units as judged: volume, times, and the episode they belong to.
--
-- reads:     unit_facts
SELECT
    unit_facts.bag,
    unit_facts.unit_no,
    unit_facts.product_code,
    unit_facts.bag_no,
    unit_facts.patient_id,
    unit_facts.issued_at,
    unit_facts.episode_id,
    unit_facts.fate,
    unit_facts.given,
    unit_facts.volume,
    unit_facts.volume_basis,
    unit_facts.given_ml,
    unit_facts.begin,
    unit_facts.finish,
    unit_facts.times_basis,
    unit_facts.source_file,
    unit_facts.source_row
FROM unit_facts
