-- laboratory: one row an episode that has a result: the results before and after, one column a test and fact.
--
-- reads:     chosen_results
WITH tested AS (
    SELECT DISTINCT chosen_results.episode_id
    FROM chosen_results
)

SELECT
    tested.episode_id,
    inr_before.value AS inr_before,
    inr_before.bound AS inr_before_bound,
    inr_before.collected_at AS inr_before_at,
    inr_before.hours AS inr_before_hours,
    inr_before.point_of_care AS inr_before_point_of_care,
    inr_before.known AS inr_before_known,
    inr_before.collected_through AS inr_before_through,
    inr_after.value AS inr_after,
    inr_after.bound AS inr_after_bound,
    inr_after.collected_at AS inr_after_at,
    inr_after.hours AS inr_after_hours,
    inr_after.point_of_care AS inr_after_point_of_care,
    pt_ratio_before.value AS pt_ratio_before,
    pt_ratio_before.bound AS pt_ratio_before_bound,
    pt_ratio_before.collected_at AS pt_ratio_before_at,
    pt_ratio_before.hours AS pt_ratio_before_hours,
    pt_ratio_before.point_of_care AS pt_ratio_before_point_of_care,
    pt_ratio_before.known AS pt_ratio_before_known,
    pt_ratio_before.collected_through AS pt_ratio_before_through,
    pt_ratio_after.value AS pt_ratio_after,
    pt_ratio_after.bound AS pt_ratio_after_bound,
    pt_ratio_after.collected_at AS pt_ratio_after_at,
    pt_ratio_after.hours AS pt_ratio_after_hours,
    pt_ratio_after.point_of_care AS pt_ratio_after_point_of_care,
    aptt_ratio_before.value AS aptt_ratio_before,
    aptt_ratio_before.bound AS aptt_ratio_before_bound,
    aptt_ratio_before.collected_at AS aptt_ratio_before_at,
    aptt_ratio_before.hours AS aptt_ratio_before_hours,
    aptt_ratio_before.point_of_care AS aptt_ratio_before_point_of_care,
    aptt_ratio_before.known AS aptt_ratio_before_known,
    aptt_ratio_before.collected_through AS aptt_ratio_before_through,
    aptt_ratio_after.value AS aptt_ratio_after,
    aptt_ratio_after.bound AS aptt_ratio_after_bound,
    aptt_ratio_after.collected_at AS aptt_ratio_after_at,
    aptt_ratio_after.hours AS aptt_ratio_after_hours,
    aptt_ratio_after.point_of_care AS aptt_ratio_after_point_of_care,
    viscoelastic_before.value AS viscoelastic_before,
    viscoelastic_before.bound AS viscoelastic_before_bound,
    viscoelastic_before.collected_at AS viscoelastic_before_at,
    viscoelastic_before.hours AS viscoelastic_before_hours,
    viscoelastic_before.point_of_care AS viscoelastic_before_point_of_care,
    viscoelastic_before.known AS viscoelastic_before_known,
    viscoelastic_before.collected_through AS viscoelastic_before_through,
    viscoelastic_after.value AS viscoelastic_after,
    viscoelastic_after.bound AS viscoelastic_after_bound,
    viscoelastic_after.collected_at AS viscoelastic_after_at,
    viscoelastic_after.hours AS viscoelastic_after_hours,
    viscoelastic_after.point_of_care AS viscoelastic_after_point_of_care,
    fibrinogen_before.value AS fibrinogen_before,
    fibrinogen_before.bound AS fibrinogen_before_bound,
    fibrinogen_before.collected_at AS fibrinogen_before_at,
    fibrinogen_before.hours AS fibrinogen_before_hours,
    fibrinogen_before.point_of_care AS fibrinogen_before_point_of_care,
    fibrinogen_before.known AS fibrinogen_before_known,
    fibrinogen_before.collected_through AS fibrinogen_before_through,
    fibrinogen_after.value AS fibrinogen_after,
    fibrinogen_after.bound AS fibrinogen_after_bound,
    fibrinogen_after.collected_at AS fibrinogen_after_at,
    fibrinogen_after.hours AS fibrinogen_after_hours,
    fibrinogen_after.point_of_care AS fibrinogen_after_point_of_care,
    hb_before.value AS hb_before,
    hb_before.bound AS hb_before_bound,
    hb_before.collected_at AS hb_before_at,
    hb_before.hours AS hb_before_hours,
    hb_before.point_of_care AS hb_before_point_of_care,
    hb_before.known AS hb_before_known,
    hb_before.collected_through AS hb_before_through,
    hb_after.value AS hb_after,
    hb_after.bound AS hb_after_bound,
    hb_after.collected_at AS hb_after_at,
    hb_after.hours AS hb_after_hours,
    hb_after.point_of_care AS hb_after_point_of_care,
    platelets_before.value AS platelets_before,
    platelets_before.bound AS platelets_before_bound,
    platelets_before.collected_at AS platelets_before_at,
    platelets_before.hours AS platelets_before_hours,
    platelets_before.point_of_care AS platelets_before_point_of_care,
    platelets_before.known AS platelets_before_known,
    platelets_before.collected_through AS platelets_before_through,
    platelets_after.value AS platelets_after,
    platelets_after.bound AS platelets_after_bound,
    platelets_after.collected_at AS platelets_after_at,
    platelets_after.hours AS platelets_after_hours,
    platelets_after.point_of_care AS platelets_after_point_of_care
FROM tested
LEFT JOIN chosen_results AS inr_before ON inr_before.episode_id = tested.episode_id AND inr_before.test = 'inr' AND inr_before.side = 'before'
LEFT JOIN chosen_results AS inr_after ON inr_after.episode_id = tested.episode_id AND inr_after.test = 'inr' AND inr_after.side = 'after'
LEFT JOIN chosen_results AS pt_ratio_before ON pt_ratio_before.episode_id = tested.episode_id AND pt_ratio_before.test = 'pt_ratio' AND pt_ratio_before.side = 'before'
LEFT JOIN chosen_results AS pt_ratio_after ON pt_ratio_after.episode_id = tested.episode_id AND pt_ratio_after.test = 'pt_ratio' AND pt_ratio_after.side = 'after'
LEFT JOIN chosen_results AS aptt_ratio_before ON aptt_ratio_before.episode_id = tested.episode_id AND aptt_ratio_before.test = 'aptt_ratio' AND aptt_ratio_before.side = 'before'
LEFT JOIN chosen_results AS aptt_ratio_after ON aptt_ratio_after.episode_id = tested.episode_id AND aptt_ratio_after.test = 'aptt_ratio' AND aptt_ratio_after.side = 'after'
LEFT JOIN chosen_results AS viscoelastic_before ON viscoelastic_before.episode_id = tested.episode_id AND viscoelastic_before.test = 'viscoelastic' AND viscoelastic_before.side = 'before'
LEFT JOIN chosen_results AS viscoelastic_after ON viscoelastic_after.episode_id = tested.episode_id AND viscoelastic_after.test = 'viscoelastic' AND viscoelastic_after.side = 'after'
LEFT JOIN chosen_results AS fibrinogen_before ON fibrinogen_before.episode_id = tested.episode_id AND fibrinogen_before.test = 'fibrinogen' AND fibrinogen_before.side = 'before'
LEFT JOIN chosen_results AS fibrinogen_after ON fibrinogen_after.episode_id = tested.episode_id AND fibrinogen_after.test = 'fibrinogen' AND fibrinogen_after.side = 'after'
LEFT JOIN chosen_results AS hb_before ON hb_before.episode_id = tested.episode_id AND hb_before.test = 'hb' AND hb_before.side = 'before'
LEFT JOIN chosen_results AS hb_after ON hb_after.episode_id = tested.episode_id AND hb_after.test = 'hb' AND hb_after.side = 'after'
LEFT JOIN chosen_results AS platelets_before ON platelets_before.episode_id = tested.episode_id AND platelets_before.test = 'platelets' AND platelets_before.side = 'before'
LEFT JOIN chosen_results AS platelets_after ON platelets_after.episode_id = tested.episode_id AND platelets_after.test = 'platelets' AND platelets_after.side = 'after'
