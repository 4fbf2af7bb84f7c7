package invent

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// configuration writes the site and policy files that such a hospital would
// write.
func (x *exporter) configuration() error {
	var b strings.Builder
	b.WriteString(x.siteText())
	b.WriteString("products:\n")
	list := products
	if x.options.Batches {
		list = append(slices.Clone(products), pooled)
	}
	for _, p := range list {
		fmt.Fprintf(&b, "  %s: {component: %s", p.code, p.component)
		if p.kind != "" {
			fmt.Fprintf(&b, ", product: %s", p.kind)
		}
		fmt.Fprintf(&b, ", nominal_ml: %d", p.ml)
		if p.becomes != "" {
			fmt.Fprintf(&b, ", becomes: %s", p.becomes)
		}
		if p.batch {
			b.WriteString(", batch: true")
		}
		b.WriteString("}\n")
	}
	old, _ := time.Parse(time.DateOnly, "2020-01-01")
	young, err := time.Parse(time.DateOnly, newReagent)
	if err != nil {
		return err
	}
	fmt.Fprintf(&b, "mean_normal_s:\n  pt_s:\n    - {from: %s, value: %.1f}\n    - {from: %s, value: %.1f}   # another lot of reagent\n",
		old.Format(time.DateOnly), meanPT(old), newReagent, meanPT(young))
	b.WriteString("currency: EUR\nlimits: {rejected_share: 0.02, undetermined_share: 0.35}\n")
	if !x.teaching.IsZero() {
		fmt.Fprintf(&b, "interventions:\n  - {date: %s, name: Teaching on dosing by weight}\n", x.teaching.Format(time.DateOnly))
	}
	if err := os.WriteFile(filepath.Join(x.dir, "site.yaml"), []byte(b.String()), 0o640); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(x.dir, "decisions.yaml"), []byte(x.decisions()), 0o640); err != nil {
		return err
	}
	policy := policyText
	if x.options.Policy != "" {
		policy = x.options.Policy
	}
	return os.WriteFile(filepath.Join(x.dir, "policy.yaml"), []byte(policy), 0o640)
}

// siteText is the head of site.yaml and its feeds.
func (x *exporter) siteText() string {
	feeds := siteFeeds
	if x.options.NoEvents {
		before, rest, _ := strings.Cut(feeds, "  - table: events ")
		_, after, _ := strings.Cut(rest, "  - table: medicines\n")
		feeds = before + "  - table: medicines\n" + after
	}
	if x.options.Batches {
		feeds = strings.Replace(feeds, "unit_no: DonationNo,", "unit_no: DonationNo, bag_no: BagNo,", 1)
		feeds = strings.Replace(feeds, "unit_no: Unit,", "unit_no: Unit, bag_no: BagNo,", 1)
	}
	return fmt.Sprintf(siteHead, x.options.Zone) + feeds
}

// decisions is what such a hospital's committee would have written down; the
// owners are roles.
func (x *exporter) decisions() string {
	taught := x.teaching
	if taught.IsZero() {
		taught = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)
	}
	return fmt.Sprintf(`# Invented. What earlier meetings decided; thawline check reads it.
decisions:
  - date: %s
    decision: Teach ordering by weight on every ward; the request form asks for kg
    owner: lead nurse for transfusion
    due: %s
    done: %s
    figure: appropriate_by_month
  - date: 2026-07-14
    decision: Thaw when the porter is at the door, not when the telephone rings
    owner: blood bank manager
    due: 2026-10-01
    figure: waste_by_month
  - date: 2026-09-15
    decision: Ask the theatre office for the bleeding risk of each procedure
    owner: chair of the committee
    due: 2026-12-01
`, taught.AddDate(0, 0, -45).Format(time.DateOnly), taught.Format(time.DateOnly), taught.Format(time.DateOnly))
}

const siteHead = `# Invented: no hospital, patient, place, code or number here is real.
hospital: Tarn Bridge General (invented)
time_zone: %s
store: store
policy: policy.yaml                  # only what differs from the defaults
`

const siteFeeds = `feeds:
  - table: issues                    # the blood bank's log: semicolons, wall-clock
    files: inbox/bank_*.csv
    file_date: bank_(\d{4}-\d{2}-\d{2})
    time_format: 02/01/2006 15:04
    columns: {unit_no: DonationNo, product_code: Prod, unit_abo: Grp, volume_ml: VolML, patient_id: HospNo, location: Place, specialty: Service, requester: AskedBy, indication_raw: Reason, activation_id: MHPRef, requested_at: Asked, thawed_at: Thawed, issued_at: Issued, returned_at: Back, discarded_at: Binned, discard_reason_raw: BinWhy, expires_at: Expiry, fate: Outcome}
    fate: {TX: transfused, RT: returned, WS: discarded}
    indication: {BLD: bleeding, MHP: major_haemorrhage, PRC: procedure, PEX: plasma_exchange, CPB: circuit_prime, FDF: factor_deficiency, INR: raised_inr, OTH: other}
    discard_reason: {EXPT: expired_after_thaw, TEMP: out_of_temperature, NLN: no_longer_needed, DIED: patient_died, STK: readiness_stock, DMG: damaged}
  - table: bedside                   # the ward's own record
    files: inbox/ward_*.csv
    file_date: ward_(\d{4}-\d{2}-\d{2})
    columns: {unit_no: Unit, product_code: Product, patient_id: Patient, started_at: Begun, ended_at: Done, transfused_ml: GivenML}
  - table: labs
    files: inbox/results_*.csv
    file_date: results_(\d{4}-\d{2}-\d{2})
    columns: {result_id: LabNo, patient_id: HospNo, test: Test, value_raw: Result, unit_raw: Units, point_of_care: Near, collected_at: Taken, resulted_at: Reported, status: State}
    test: {INR: inr, PTS: pt_s, APTTR: aptt_ratio, FIBC: fibrinogen, VCT: viscoelastic, HGB: hb, PLTC: platelets, HCT: hct}
    status: {P: preliminary, F: final, C: corrected, X: cancelled}
    ignore: rest
  - table: events                    # bleeding, diagnoses, reactions
    files: inbox/clin_*.csv
    file_date: clin_(\d{4}-\d{2}-\d{2})
    columns: {patient_id: HospNo, kind: Type, detail_raw: Detail, at: When, until: Until}
    kind: {BLEED: bleeding, MHP: activation, DX: diagnosis, REACT: reaction, EXCH: exchange, DEATH: death}
    detail: {MAJ: major, MIN: minor, SDN: stood_down, OVL: overload, ALL: allergic, FEB: febrile, LIV: liver_disease, HFL: heart_failure, RFL: renal_failure, TTP: ttp}
    ignore: [FALL]
  - table: events                    # the theatre list
    files: inbox/theatre_*.csv
    file_date: theatre_(\d{4}-\d{2}-\d{2})
    time_format: 02/01/2006 15:04
    columns: {patient_id: HospNo, kind: Row, detail_raw: Risk, at: In, until: Out}
    kind: {OPER: procedure}
    detail: {HR: high, LR: low}
  - table: medicines
    files: inbox/meds_*.csv
    file_date: meds_(\d{4}-\d{2}-\d{2})
    time_format: 02-Jan-2006 15:04
    columns: {patient_id: HospNo, medicine: Drug, given_at: Given}
    medicine: {WARF: vitamin_k_antagonist, DOAC: direct_oral_anticoagulant, HEPU: heparin, VITK: vitamin_k, TXA: tranexamic_acid}
    ignore: rest
  - table: measures
    files: inbox/obs_*.csv
    file_date: obs_(\d{4}-\d{2}-\d{2})
    columns: {patient_id: HospNo, kind: Item, value_raw: Value, unit_raw: Unit, method: How, measured_at: Taken}
    kind: {WT: weight, HT: height}
    method: {M: measured, S: stated, E: estimated}
  - table: patients
    files: inbox/register_*.csv
    file_date: register_(\d{4}-\d{2}-\d{2})
    columns: {patient_id: HospNo, birth_date: Born, sex: Sex, abo: Group, rhd: Rh}
    rhd: {POS: positive, NEG: negative}
  - table: aliases
    files: inbox/merges_*.csv
    file_date: merges_(\d{4}-\d{2}-\d{2})
    columns: {alias: OldNo, patient_id: NewNo}
  - table: activity
    files: inbox/activity_*.csv
    file_date: activity_(\d{4}-\d{2}-\d{2})
    columns: {month: Month, location: Place, measure: What, count: N}
    measure: {ADM: admissions, BD: bed_days, OPS: operations}
`

const policyText = `# Invented. Only what differs from the defaults; thawline's defaults say the rest.
concentrate_stocked:
  value: yes
  source: the pharmacy's list (invented)
unit_cost:
  value: 61.50
  source: the blood bank's price list, in euro (invented)
`

// writeTruth writes what was planted, one row an episode.
func writeTruth(path string, episodes []Episode) error {
	s, err := newSheet(path, ',', "patient_id|first_issued_at|unit_no|scenario|complete|mark|dose_band|basis|coagulopathy")
	if err != nil {
		return err
	}
	for _, e := range episodes {
		complete := "no"
		if e.Complete {
			complete = "yes"
		}
		s.row(e.PatientID, e.FirstIssuedAt.UTC().Format("2006-01-02T15:04:05Z"), e.FirstUnit, e.Scenario, complete, e.Mark, e.DoseBand, e.Basis, e.Coagulopathy)
	}
	return s.close()
}
