package contract

// Tests is the whole list of laboratory tests, in the order of the contract.
var Tests = []string{"inr", "pt_s", "pt_ratio", "aptt_s", "aptt_ratio", "fibrinogen", "viscoelastic", "hb", "platelets", "hct"}

// TestUnits gives the UCUM unit in which each test is kept.
var TestUnits = map[string]string{
	"inr": "1", "pt_s": "s", "pt_ratio": "1", "aptt_s": "s", "aptt_ratio": "1", "fibrinogen": "g/L",
	"viscoelastic": "s", "hb": "g/L", "platelets": "10*9/L", "hct": "1",
}

// MeasureUnits gives the UCUM unit in which each kind of measure is kept.
var MeasureUnits = map[string]string{"weight": "kg", "height": "cm"}

// Issues holds what the blood bank handed over.
var Issues = feed(&Table{
	Name: "issues",
	Doc:  "Blood components issued by the blood bank, and plasma thawed and never issued.",
	Row:  "a unit and issue (or a unit thawed or discarded and never issued)",
	Key:  []string{"bag", "issued_at"},
	Columns: []Column{
		{Name: "unit_no", Kind: Text, Required: true, Identifies: true, Doc: "donation or batch number, without spaces and check character"},
		{Name: "product_code", Kind: Text, Required: true, Doc: "local or standard product code, division included"},
		{Name: "bag_no", Kind: Text, Doc: "the bag within a batch"},
		{Name: "bag_code", Kind: Text, Required: true, Derived: true, Doc: "the code at the end of the product map's becomes: the same before and after thawing"},
		{Name: "is_batch", Kind: Bool, Required: true, Derived: true, Doc: "the product map flags the product as a batch: one number, many bags"},
		{Name: "bag", Kind: Text, CurrentOnly: true, Required: true, Derived: true, Identifies: true, Doc: "identity of the bag: unit_no|bag_code|bag_no, and for a batch without bag_no what tells its rows apart"},
		{Name: "component", Kind: Text, Required: true, Derived: true, Codes: []string{"plasma", "red_cells", "platelets", "cryoprecipitate", "other"}, Doc: "kind of component, from the product map"},
		{Name: "product", Kind: Text, Derived: true, Codes: []string{"fresh_frozen", "frozen_24h", "thawed", "pathogen_reduced", "liquid", "dried", "other"}, Doc: "kind of plasma, from the product map"},
		{Name: "nominal_ml", Kind: Decimal, Unit: "mL", Derived: true, Doc: "volume that the product map states for one bag"},
		{Name: "volume_ml", Kind: Decimal, Unit: "mL", Doc: "volume in the bag"},
		{Name: "transfused_ml", Kind: Decimal, Unit: "mL", Doc: "volume given, where the chart says less; 0 is 0 given"},
		{Name: "unit_abo", Kind: Text, Codes: []string{"A", "B", "AB", "O"}, Doc: "ABO group of the unit"},
		{Name: "patient_id", Kind: Text, Identifies: true, Doc: "patient for whom it was issued"},
		{Name: "location", Kind: Text, Doc: "place it was issued to"},
		{Name: "specialty", Kind: Text, Doc: "specialty it was issued for"},
		{Name: "requester", Kind: Text, Identifies: true, Doc: "who asked for it"},
		{Name: "indication", Kind: Text, Codes: []string{"bleeding", "major_haemorrhage", "procedure", "plasma_exchange", "circuit_prime", "anticoagulant_reversal", "liver_disease", "dic", "raised_inr", "factor_deficiency", "other"}, Doc: "why it was asked for; raised_inr states no bleeding, and that there was none only where the policy's bleeding_recorded_in names indication"},
		{Name: "indication_raw", Kind: Text, Doc: "indication as exported"},
		{Name: "activation_id", Kind: Text, Doc: "major haemorrhage activation it belongs to"},
		{Name: "requested_at", Kind: Instant, Doc: "asked for"},
		{Name: "thawed_at", Kind: Instant, Doc: "thawing complete"},
		{Name: "issued_at", Kind: Instant, Doc: "handed over"},
		{Name: "left_storage_at", Kind: Instant, Doc: "left temperature-controlled storage"},
		{Name: "started_at", Kind: Instant, Doc: "transfusion started"},
		{Name: "ended_at", Kind: Instant, Doc: "transfusion ended"},
		{Name: "returned_at", Kind: Instant, Doc: "came back to the blood bank"},
		{Name: "discarded_at", Kind: Instant, Doc: "thrown away"},
		{Name: "expires_at", Kind: Instant, Doc: "expiry; a date alone means the end of that day"},
		{Name: "issued_local", Kind: Local, Derived: true, Doc: "issued_at on the hospital's clock"},
		{Name: "fate", Kind: Text, Required: true, Codes: []string{"transfused", "presumed", "returned", "discarded", "transferred", "unknown"}, Doc: "what became of it; presumed is issued, not returned, and nobody recorded it"},
		{Name: "discard_reason", Kind: Text, Codes: []string{"expired_after_thaw", "out_of_temperature", "no_longer_needed", "patient_died", "readiness_stock", "damaged", "wrong_unit", "recall", "other"}, Doc: "why it was thrown away"},
		{Name: "discard_reason_raw", Kind: Text, Doc: "discard reason as exported"},
		{Name: "bedside_file", Kind: Text, CurrentOnly: true, Derived: true, Doc: "export whose bedside record filled cells of this row"},
		{Name: "bedside_row", Kind: Int, CurrentOnly: true, Derived: true, Doc: "row of that record"},
	},
})

// Bedside holds what the ward recorded of a unit, where another system tells it.
var Bedside = feed(&Table{
	Name: "bedside",
	Doc:  "What the ward recorded of a unit, where another system than the blood bank tells it.",
	Row:  "a unit begun at the bedside",
	Key:  []string{"unit_no", "product_code", "bag_no", "patient_id", "started_at"},
	Columns: []Column{
		{Name: "unit_no", Kind: Text, Required: true, Identifies: true, Doc: "donation or batch number"},
		{Name: "product_code", Kind: Text, Doc: "product code, or null"},
		{Name: "bag_code", Kind: Text, Derived: true, Doc: "the code at the end of the product map's becomes"},
		{Name: "bag_no", Kind: Text, Doc: "the bag within a batch"},
		{Name: "patient_id", Kind: Text, Identifies: true, Doc: "patient it was given to"},
		{Name: "started_at", Kind: Instant, Required: true, Doc: "transfusion started"},
		{Name: "ended_at", Kind: Instant, Doc: "transfusion ended"},
		{Name: "transfused_ml", Kind: Decimal, Unit: "mL", Doc: "volume given"},
		{Name: "joined", Kind: Bool, CurrentOnly: true, Derived: true, Required: true, Doc: "the record found its issue"},
	},
})

// Labs holds laboratory results.
var Labs = feed(&Table{
	Name: "labs",
	Doc:  "Laboratory results of the tests that a mark may need.",
	Row:  "a result",
	Key:  []string{"patient_id", "test", "collected_at", "point_of_care"},
	Columns: []Column{
		{Name: "result_id", Kind: Text, Identifies: true, Doc: "the laboratory's own number of the result"},
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "test", Kind: Text, Required: true, Codes: Tests, Doc: "kind of test"},
		{Name: "value", Kind: Real, Doc: "INR, ratios and hct 1; times s; fibrinogen g/L (Clauss); viscoelastic clotting time s; hb g/L; platelets 10*9/L"},
		{Name: "bound", Kind: Text, Codes: []string{"<", ">", "<=", ">="}, Doc: "value is a limit of measurement, not a measurement"},
		{Name: "value_raw", Kind: Text, Doc: "value as exported"},
		{Name: "unit_raw", Kind: Text, Doc: "unit as exported"},
		{Name: "no_value", Kind: Text, Codes: []string{"unclottable", "clotted", "haemolysed", "insufficient", "pending", "cancelled", "other"}, Doc: "why the line holds no number; unclottable: no clot, or a clotting time beyond the analyser (a sign > alone) without a number"},
		{Name: "point_of_care", Kind: Bool, Required: true, Doc: "measured at the bedside; empty is false"},
		{Name: "collected_at", Kind: Instant, Required: true, Doc: "sample taken"},
		{Name: "resulted_at", Kind: Instant, Doc: "result known"},
		{Name: "status", Kind: Text, Required: true, Codes: []string{"preliminary", "final", "corrected", "cancelled"}, Doc: "standing of the result; empty is final, a word not mapped ranks as preliminary"},
		{Name: "derived_from", Kind: Text, Derived: true, Codes: []string{"pt_s", "aptt_s"}, Doc: "the ratio was made from this time and the site's mean normal time"},
	},
})

// Measures holds weights and heights.
var Measures = feed(&Table{
	Name: "measures",
	Doc:  "Weights and heights.",
	Row:  "a weight or a height",
	Key:  []string{"patient_id", "kind", "measured_at", "method"},
	Columns: []Column{
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "kind", Kind: Text, Required: true, Codes: []string{"weight", "height"}, Doc: "what was measured"},
		{Name: "value", Kind: Decimal, Doc: "weight in kg, height in cm"},
		{Name: "value_raw", Kind: Text, Doc: "value as exported"},
		{Name: "unit_raw", Kind: Text, Doc: "unit as exported"},
		{Name: "measured_at", Kind: Instant, Required: true, Doc: "when"},
		{Name: "method", Kind: Text, Codes: []string{"measured", "stated", "estimated"}, Doc: "how"},
	},
})

// Events holds what happened to the patient.
var Events = feed(&Table{
	Name: "events",
	Doc:  "Bleeding, procedures, activations, diagnoses, reactions, exchanges and deaths.",
	Row:  "an event",
	Key:  []string{"patient_id", "kind", "at"},
	Columns: []Column{
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "kind", Kind: Text, Required: true, Codes: []string{"bleeding", "procedure", "activation", "diagnosis", "reaction", "exchange", "death"}, Doc: "kind of event; exchange is of plasma, not of red cells"},
		{Name: "detail", Kind: Text, Codes: []string{
			"high", "low", // procedure: its bleeding risk
			"major", "minor", // bleeding
			"stood_down",                                                            // activation
			"overload", "lung_injury", "allergic", "febrile", "haemolytic", "other", // reaction
			"liver_disease", "heart_failure", "renal_failure", "dic", "ttp", "stem_cell_transplant"}, // diagnosis
			Doc: "procedure high or low (bleeding risk); bleeding major or minor; activation stood_down; reaction its kind; diagnosis its kind or a raw code"},
		{Name: "detail_raw", Kind: Text, Doc: "detail as exported"},
		{Name: "at", Kind: Instant, Required: true, Doc: "when it began"},
		{Name: "until", Kind: Instant, Doc: "when it ended"},
	},
})

// EventDetails gives the words of events.detail for each kind; a diagnosis
// takes any other word as a raw code.
var EventDetails = map[string][]string{
	"bleeding":   {"major", "minor"},
	"procedure":  {"high", "low"},
	"activation": {"stood_down"},
	"diagnosis":  {"liver_disease", "heart_failure", "renal_failure", "dic", "ttp", "stem_cell_transplant"},
	"reaction":   {"overload", "lung_injury", "allergic", "febrile", "haemolytic", "other"},
	"exchange":   {},
	"death":      {},
}

// Medicines holds drugs that change how plasma use is judged.
var Medicines = feed(&Table{
	Name: "medicines",
	Doc:  "Anticoagulants, their antidotes and factor concentrates.",
	Row:  "a dose given",
	Key:  []string{"patient_id", "medicine", "given_at"},
	Columns: []Column{
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "medicine", Kind: Text, Required: true, Codes: []string{"vitamin_k_antagonist", "direct_oral_anticoagulant", "heparin", "vitamin_k", "prothrombin_complex", "fibrinogen_concentrate", "tranexamic_acid"}, Doc: "kind of medicine"},
		{Name: "given_at", Kind: Instant, Required: true, Doc: "when"},
	},
})

// Patients holds what is constant of a patient.
var Patients = feed(&Table{
	Name: "patients",
	Doc:  "Birth date, sex and blood group.",
	Row:  "a patient",
	Key:  []string{"patient_id"},
	Columns: []Column{
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "patient"},
		{Name: "birth_date", Kind: Date, Identifies: true, Doc: "birth date"},
		{Name: "sex", Kind: Text, Codes: []string{"F", "M", "X"}, Doc: "sex"},
		{Name: "abo", Kind: Text, Codes: []string{"A", "B", "AB", "O"}, Doc: "ABO group of the patient"},
		{Name: "rhd", Kind: Text, Codes: []string{"positive", "negative"}, Doc: "RhD group of the patient"},
	},
})

// Aliases holds numbers that became other numbers.
var Aliases = feed(&Table{
	Name: "aliases",
	Doc:  "Emergency or merged patient numbers, and the numbers they became.",
	Row:  "an alias",
	Key:  []string{"alias"},
	Columns: []Column{
		{Name: "alias", Kind: Text, Required: true, Identifies: true, Doc: "the number given up"},
		{Name: "patient_id", Kind: Text, Required: true, Identifies: true, Doc: "the number it became"},
	},
})

// Activity holds the denominators of use.
var Activity = feed(&Table{
	Name: "activity",
	Doc:  "Admissions, bed days and operations: the denominators of use.",
	Row:  "a month, place and measure",
	Key:  []string{"month", "location", "measure"},
	Columns: []Column{
		{Name: "month", Kind: Text, Required: true, Doc: "YYYY-MM"},
		{Name: "location", Kind: Text, Doc: "place, or null for the whole hospital"},
		{Name: "measure", Kind: Text, Required: true, Codes: []string{"admissions", "bed_days", "operations"}, Doc: "what is counted"},
		{Name: "count", Kind: Real, Required: true, Doc: "how many"},
	},
})

// Recorded tells in which months bleeding and medicines were recorded at all.
var Recorded = &Table{
	Name: "recorded",
	Doc:  "The months in which bleeding and medicines were recorded at all, by the accepted rows of all files, superseded and cancelled ones too.",
	Row:  "a month in which something was recorded",
	Key:  []string{"what", "month"},
	Columns: []Column{
		{Name: "what", Kind: Text, Required: true, Codes: []string{"bleeding", "medicines"}, Doc: "events of kind bleeding, or medicines"},
		{Name: "month", Kind: Text, Required: true, Doc: "local month, YYYY-MM"},
		{Name: "first_day", Kind: Date, Required: true, Doc: "first local day with a row in it"},
		{Name: "last_day", Kind: Date, Required: true, Doc: "last local day with a row in it"},
		{Name: "rows_told", Kind: Int, Required: true, Doc: "accepted rows"},
	},
}

// Problems lists what was wrong with rows and fields, and where it stands.
var Problems = &Table{
	Name: "problems",
	Doc:  "Required fields at fault of rejected rows, and dropped or suspect fields of accepted ones.",
	Row:  "a field at fault",
	Columns: []Column{
		{Name: "source_file", Kind: Text, Required: true, Doc: "base name of the export"},
		{Name: "source_row", Kind: Int, Required: true, Doc: "line, sheet row or segment, 1-based, header counted"},
		{Name: "column", Kind: Text, Required: true, Doc: "column of the contract"},
		{Name: "raw", Kind: Text, Identifies: true, Doc: "what was written"},
		{Name: "severity", Kind: Text, Required: true, Codes: []string{"rejected", "dropped", "suspect", "noted"}, Doc: "rejected: the row is out; dropped: the cell cannot be read; suspect: it reads well but cannot be; noted: the value is kept"},
		{Name: "reason", Kind: Text, Required: true, Doc: "what is wrong, in words that hold no value of the row"},
	},
}
