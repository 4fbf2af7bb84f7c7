package contract

// BeforeAfterTests are the tests whose results before and after an episode are
// kept with it, in column order.
var BeforeAfterTests = []string{"inr", "pt_ratio", "aptt_ratio", "viscoelastic", "fibrinogen", "hb", "platelets"}

// CriterionTests are the tests that can show a coagulopathy, in column order.
var CriterionTests = []string{"inr", "pt_ratio", "aptt_ratio", "viscoelastic", "fibrinogen"}

// The words that an episode's facts are told in. The decision table may use
// these and no others; * stands for any.
var (
	Outcomes       = []string{"transfused", "lost", "returned", "unknown"}
	Populations    = []string{"newborn", "child", "adult"}
	Bands          = []string{"below", "within", "above", "not_known"}
	Bases          = []string{"plasma_exchange", "circuit_prime", "major_haemorrhage", "factor_deficiency", "bleeding", "bleeding_minor", "procedure_high", "procedure", "procedure_low", "none_found", "not_known"}
	Coagulopathies = []string{"shown", "not_shown", "not_known"}
	Alternatives   = []string{"stocked", "not_stated", "none"}
	Courses        = []string{"answered", "stopped", "none"}
	Marks          = []string{"appropriate", "under-dosed", "non-bleeding", "unsupported", "undetermined", "set-apart", "wasted", "returned"}
)

// Episodes holds one row an episode: its facts and its mark.
var Episodes = &Table{
	Name:    "episodes",
	Doc:     "Plasma that one patient was issued close together in time, with the facts that judge it and its mark.",
	Row:     "an episode",
	Key:     []string{"episode_id"},
	Columns: episodeColumns(),
}

func episodeColumns() []Column {
	columns := []Column{
		{Name: "episode_id", Kind: Text, Required: true, Identifies: true, Doc: "first 16 hex digits of SHA-256 over patient_id|first issued_at|unit_no of the first unit"},
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "month", Kind: Text, Required: true, Doc: "local month of the first issue, YYYY-MM"},
		{Name: "weekday", Kind: Int, Required: true, Doc: "local weekday of the first issue, Monday is 1"},
		{Name: "hour", Kind: Int, Required: true, Unit: "h", Doc: "local hour of the first issue, 0 to 23"},
		{Name: "location", Kind: Text, Doc: "place of the first unit"},
		{Name: "specialty", Kind: Text, Doc: "specialty of the first unit"},
		{Name: "requester", Kind: Text, Identifies: true, Doc: "requester of the first unit"},
		{Name: "first_issued_at", Kind: Instant, Required: true, Doc: "issue of the first unit"},
		{Name: "t0", Kind: Instant, Required: true, Doc: "earliest begin over given units, else first issue"},
		{Name: "t1", Kind: Instant, Required: true, Doc: "latest finish over given units, else t0"},
		{Name: "units_issued", Kind: Int, Required: true, Doc: "units of any fate"},
		{Name: "units_transfused", Kind: Int, Required: true, Doc: "units whose transfusion was recorded"},
		{Name: "units_presumed", Kind: Int, Required: true, Doc: "units issued, not returned, and recorded by nobody"},
		{Name: "units_returned", Kind: Int, Required: true, Doc: "units that came back"},
		{Name: "units_discarded", Kind: Int, Required: true, Doc: "units thrown away"},
		{Name: "units_transferred", Kind: Int, Required: true, Doc: "units that left the hospital"},
		{Name: "units_unknown", Kind: Int, Required: true, Doc: "units whose fate is not recorded"},
		{Name: "outcome", Kind: Text, Required: true, Codes: Outcomes, Doc: "what became of the episode's units together"},
		{Name: "population", Kind: Text, Required: true, Codes: Populations, Doc: "age group at t0; without a birth date judged as adult"},
		{Name: "weight_kg", Kind: Decimal, Unit: "kg", Doc: "weight used for the dose, by the policy's weight_basis"},
		{Name: "weight_at", Kind: Instant, Doc: "when the actual weight in its window was measured, whichever weight the policy takes"},
		{Name: "delivered_ml", Kind: Decimal, Unit: "mL", Required: true, Doc: "volume given"},
		{Name: "possible_ml", Kind: Decimal, Unit: "mL", Required: true, Doc: "volume given, plus that of units of unknown fate"},
		{Name: "dose", Kind: Real, Unit: "mL/kg", Doc: "delivered_ml / weight_kg, 6 decimals; null unless transfused"},
		{Name: "dose_possible", Kind: Real, Unit: "mL/kg", Doc: "possible_ml / weight_kg, 6 decimals; null unless transfused"},
		{Name: "dose_band", Kind: Text, Required: true, Codes: Bands, Doc: "the band in which the dose and the possible dose both lie"},
	}
	for _, test := range BeforeAfterTests {
		unit := TestUnits[test]
		columns = append(columns,
			Column{Name: test + "_before", Kind: Real, Unit: unit, Doc: "latest result before t0"},
			Column{Name: test + "_before_bound", Kind: Text, Codes: []string{"<", ">", "<=", ">=", "unclottable"}, Doc: "the result is a limit, or no clot formed"},
			Column{Name: test + "_before_at", Kind: Instant, Doc: "its sample"},
			Column{Name: test + "_before_hours", Kind: Real, Unit: "h", Doc: "hours from its sample to t0"},
			Column{Name: test + "_before_point_of_care", Kind: Bool, Doc: "measured at the bedside"},
			Column{Name: test + "_before_known", Kind: Bool, Doc: "the result was there when the plasma was asked for, else issued"},
			Column{Name: test + "_after", Kind: Real, Unit: unit, Doc: "earliest result after t1"},
			Column{Name: test + "_after_bound", Kind: Text, Codes: []string{"<", ">", "<=", ">=", "unclottable"}, Doc: "the result is a limit, or no clot formed"},
			Column{Name: test + "_after_at", Kind: Instant, Doc: "its sample"},
			Column{Name: test + "_after_hours", Kind: Real, Unit: "h", Doc: "hours from t1 to its sample"},
			Column{Name: test + "_after_point_of_care", Kind: Bool, Doc: "measured at the bedside"},
		)
	}
	columns = append(columns,
		Column{Name: "change_inr", Kind: Real, Unit: "1", Doc: "INR after less INR before; null where either is a bound"},
		Column{Name: "expected_change_inr", Kind: Real, Unit: "1", Doc: "change expected by the published regression, unit by unit"},
	)
	for _, test := range CriterionTests {
		columns = append(columns, Column{Name: "criterion_" + test, Kind: Bool, Doc: "the result before is beyond its limit; null is not known"})
	}
	return append(columns,
		Column{Name: "shown_by", Kind: Text, Doc: "criteria that hold, in contract order, parted by spaces; null unless shown"},
		Column{Name: "coagulopathy", Kind: Text, Required: true, Codes: Coagulopathies, Doc: "disturbed clotting before the plasma"},
		Column{Name: "basis", Kind: Text, Required: true, Codes: Bases, Doc: "why plasma was used, the first that holds"},
		Column{Name: "alternative", Kind: Text, Required: true, Codes: Alternatives, Doc: "another product is first choice, and whether the site stocks it"},
		Column{Name: "course", Kind: Text, Required: true, Codes: Courses, Doc: "of a dose below the band: the test answered, or it was stopped"},
		Column{Name: "mark", Kind: Text, Required: true, Codes: Marks, Doc: "verdict, a prompt for review by the committee"},
		Column{Name: "mark_row", Kind: Int, Required: true, Doc: "row of the decision table, 1-based, header not counted"},
		Column{Name: "because", Kind: Text, Required: true, Doc: "the decision table's reason"},
		Column{Name: "mark_recorded", Kind: Text, Required: true, Codes: Marks, Doc: "the mark if inferred bleeding evidence is left out"},
		Column{Name: "shortfall_units", Kind: Int, Doc: "units missing to the low end of the band; of an under-dosed episode"},
		Column{Name: "policy_hash", Kind: Text, Required: true, Doc: "first 16 hex digits of SHA-256 over the values that judged it, as sorted JSON"},
	)
}

// Units holds one row a plasma unit and issue.
var Units = &Table{
	Name: "units",
	Doc:  "Plasma units as judged: volume, times, and the episode they belong to.",
	Row:  "a plasma unit and issue",
	Key:  []string{"bag", "issued_at"},
	Columns: []Column{
		{Name: "bag", Kind: Text, Required: true, Identifies: true, Doc: "identity of the bag, as in current issues"},
		{Name: "unit_no", Kind: Text, Required: true, Identifies: true, Doc: "donation or batch number"},
		{Name: "product_code", Kind: Text, Required: true, Doc: "product code"},
		{Name: "bag_no", Kind: Text, Doc: "the bag within a batch"},
		{Name: "patient_id", Kind: Text, Identifies: true, Doc: "patient"},
		{Name: "issued_at", Kind: Instant, Doc: "issue; null where it never was"},
		{Name: "episode_id", Kind: Text, Identifies: true, Doc: "episode; null without patient or issue"},
		{Name: "fate", Kind: Text, Required: true, Codes: []string{"transfused", "presumed", "returned", "discarded", "transferred", "unknown"}, Doc: "what became of it"},
		{Name: "given", Kind: Bool, Required: true, Doc: "counted as transfused"},
		{Name: "volume", Kind: Decimal, Unit: "mL", Required: true, Doc: "volume recorded, else nominal, else the policy's default"},
		{Name: "volume_basis", Kind: Text, Required: true, Codes: []string{"recorded", "nominal", "assumed"}, Doc: "where volume comes from"},
		{Name: "given_ml", Kind: Decimal, Unit: "mL", Required: true, Doc: "volume given"},
		{Name: "begin", Kind: Instant, Doc: "recorded start, else issue"},
		{Name: "finish", Kind: Instant, Doc: "recorded end, else assumed"},
		{Name: "times_basis", Kind: Text, Required: true, Codes: []string{"recorded", "assumed"}, Doc: "recorded where both start and end were"},
		{Name: "source_file", Kind: Text, Required: true, Doc: "base name of the export"},
		{Name: "source_row", Kind: Int, Required: true, Doc: "row in it"},
	},
}

// Bags holds one row a plasma bag, for use and wastage.
var Bags = &Table{
	Name: "bags",
	Doc:  "Plasma bags thawed, issued or discarded, each once.",
	Row:  "a plasma bag",
	Key:  []string{"bag"},
	Columns: []Column{
		{Name: "bag", Kind: Text, Required: true, Identifies: true, Doc: "identity of the bag"},
		{Name: "unit_no", Kind: Text, Required: true, Identifies: true, Doc: "donation or batch number"},
		{Name: "product_code", Kind: Text, Required: true, Doc: "product code of its last row"},
		{Name: "bag_no", Kind: Text, Doc: "the bag within a batch"},
		{Name: "product", Kind: Text, Doc: "kind of plasma"},
		{Name: "unit_abo", Kind: Text, Doc: "ABO group"},
		{Name: "location", Kind: Text, Doc: "place of its last issue"},
		{Name: "month", Kind: Text, Required: true, Doc: "local month of earliest thaw, else issue, else discard, YYYY-MM"},
		{Name: "fate", Kind: Text, Required: true, Codes: []string{"transfused", "presumed", "discarded", "transferred", "unknown", "returned"}, Doc: "first that holds over its rows, in this order"},
		{Name: "frozen_loss", Kind: Bool, Required: true, Doc: "discarded, never thawed or issued, neither liquid nor dried"},
		{Name: "reason", Kind: Text, Doc: "discard reason"},
		{Name: "avoidable", Kind: Bool, Doc: "the reason is one that practice can change; null without a reason or discard"},
		{Name: "thawed_at", Kind: Instant, Doc: "earliest thaw"},
		{Name: "thawed_local", Kind: Local, Doc: "earliest thaw on the hospital's clock"},
		{Name: "hours_thaw_to_fate", Kind: Real, Unit: "h", Doc: "hours from the first thaw to the start, return or discard of its last issue"},
	},
}

// Evidence holds one row a piece of bleeding evidence.
var Evidence = &Table{
	Name: "evidence",
	Doc:  "What speaks for bleeding, piece by piece.",
	Row:  "a piece of evidence",
	Key:  []string{"episode_id", "source", "at"},
	Columns: []Column{
		{Name: "episode_id", Kind: Text, Required: true, Identifies: true, Doc: "episode"},
		{Name: "source", Kind: Text, Required: true, Codes: []string{"event", "indication", "activation", "red_cells", "hb_fall"}, Doc: "where it comes from"},
		{Name: "strength", Kind: Text, Required: true, Codes: []string{"recorded", "inferred"}, Doc: "somebody recorded it, or it is inferred"},
		{Name: "at", Kind: Instant, Doc: "when"},
		{Name: "detail", Kind: Text, Doc: "minor or major for an event; stood_down for an activation that was, where another came after it; the units of red_cells, the fall of hb_fall in g/L"},
		{Name: "source_file", Kind: Text, Doc: "export that tells it"},
		{Name: "source_row", Kind: Int, Doc: "row in it"},
	},
}

// Findings holds one row a fired finding.
var Findings = &Table{
	Name: "findings",
	Doc:  "What the rules noticed. A finding never changes a mark.",
	Row:  "a fired finding",
	Key:  []string{"finding", "key"},
	Columns: []Column{
		{Name: "finding", Kind: Text, Required: true, Doc: "name of the rule"},
		{Name: "of", Kind: Text, Required: true, Codes: []string{"episode", "unit"}, Doc: "what it judges"},
		{Name: "key", Kind: Text, Required: true, Identifies: true, Doc: "episode_id, or unit_no|product_code|patient_id|issued_at"},
		{Name: "episode_id", Kind: Text, Identifies: true, Doc: "episode it belongs to"},
		{Name: "severity", Kind: Text, Required: true, Codes: []string{"safety", "practice", "data"}, Doc: "what kind of attention it asks for"},
		{Name: "numbers", Kind: Text, Required: true, Identifies: true, Doc: "the numbers that prove it, as JSON"},
	},
}

// RulesRun holds one row a rule, run or not.
var RulesRun = &Table{
	Name: "rules_run",
	Doc:  "Every rule: run or not and why, and what it judged.",
	Row:  "a rule",
	Key:  []string{"finding"},
	Columns: []Column{
		{Name: "finding", Kind: Text, Required: true, Doc: "name of the rule"},
		{Name: "run", Kind: Bool, Required: true, Doc: "it ran"},
		{Name: "why_not", Kind: Text, Doc: "the feed or value it lacks"},
		{Name: "judged", Kind: Int, Required: true, Doc: "keys judged: fired + clear + not known"},
		{Name: "fired", Kind: Int, Required: true, Doc: "keys where it fired"},
		{Name: "not_known", Kind: Int, Required: true, Doc: "keys it could not judge"},
	},
}

// OtherMarks holds the marks that another value of the policy would give, where
// they differ.
var OtherMarks = &Table{
	Name: "other_marks",
	Doc:  "Marks that differ where one value of the policy is another one, on all dates; every episode that is not here keeps its mark.",
	Row:  "another value, and an episode whose mark it changes",
	Key:  []string{"value", "setting", "episode_id"},
	Columns: []Column{
		{Name: "value", Kind: Text, Required: true, Doc: "the policy value that is another one (dose_low, over_bleeding)"},
		{Name: "setting", Kind: Real, Required: true, Doc: "what it is set to, in the unit of the policy"},
		{Name: "episode_id", Kind: Text, Required: true, Identifies: true, Doc: "episode, as in episodes"},
		{Name: "mark", Kind: Text, Required: true, Codes: Marks, Doc: "its mark then"},
		{Name: "mark_row", Kind: Int, Required: true, Doc: "row of the decision table that gives it, 1-based"},
	},
}

// PackMarks holds what a pack said: the mark of every episode of the months
// that it showed. It lies beside the pack, for the next one to compare with.
var PackMarks = &Table{
	Name: "pack_marks",
	Doc:  "Marks as a pack said them (packs/PERIOD/marks.parquet), for the next pack to compare with.",
	Row:  "an episode of the months that the pack showed",
	Key:  []string{"period", "episode_id"},
	Columns: []Column{
		{Name: "period", Kind: Text, Required: true, Doc: "the pack's period, YYYY-MM or YYYY-MM..YYYY-MM"},
		{Name: "episode_id", Kind: Text, Required: true, Identifies: true, Doc: "episode, as in episodes"},
		{Name: "month", Kind: Text, Required: true, Doc: "local month of the first issue, YYYY-MM"},
		{Name: "mark", Kind: Text, Required: true, Codes: Marks, Doc: "the mark that the pack said"},
		{Name: "because", Kind: Text, Required: true, Doc: "the decision table's reason for it"},
		{Name: "policy_hash", Kind: Text, Required: true, Doc: "first 16 hex digits of SHA-256 over the values that judged it"},
	},
}

// Weights lists the weights that are not believed, and why.
var Weights = &Table{
	Name: "suspect_weights",
	Doc:  "Weights that are impossible for the age or against the patient's other weights; not used for a dose.",
	Row:  "a weight not believed",
	Key:  []string{"patient_id", "measured_at", "method"},
	Columns: []Column{
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "measured_at", Kind: Instant, Required: true, Doc: "when"},
		{Name: "method", Kind: Text, Doc: "how"},
		{Name: "weight_kg", Kind: Decimal, Unit: "kg", Required: true, Doc: "the weight"},
		{Name: "reason", Kind: Text, Required: true, Codes: []string{"impossible for the age", "over twice or under half the patient's other weights"}, Doc: "why it is not believed"},
		{Name: "source_file", Kind: Text, Required: true, Doc: "base name of the export"},
		{Name: "source_row", Kind: Int, Required: true, Doc: "row in it"},
	},
}
