package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestWhatWasNotTakenIsSaid: a first run with gaps in its maps says why rows
// and cells were not taken, with the first place, and which codes have no map.
func TestWhatWasNotTakenIsSaid(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	for name, text := range map[string]string{
		"site.yaml":   goodSite,
		"policy.yaml": "{}\n",
		"issues1.csv": "unit_no,product_code,patient_id,issued_at,fate,indication\n" +
			"U1,F,SECRET1,2025-03-10T10:00Z,gone,bleeding\n" +
			"U2,NEW1,SECRET1,2025-03-10T10:00Z,transfused,bleeding\n" +
			"U3,F,SECRET2,2025-03-10T10:00Z,transfused,unsure\n",
		"labs1.csv": goodLabs + "SECRET1,INR,2.2,2025/31/03\nSECRET1,INR,2.3,x\nSECRET1,CRP,7,10/03/2025 09:00\nSECRET1,INR,99,10/03/2025 10:00\n",
	} {
		os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600)
	}
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut); code != exitIncomplete {
		t.Errorf("exit %d, want %d", code, exitIncomplete)
	}
	said := errOut.String()
	for _, want := range []string{
		"labs1.csv: 5 rows read = 2 accepted + 2 rejected + 1 set aside",
		"rejected 2: labs.collected_at: ", "first labs1.csv:3",
		"suspect 1: labs.value: outside 0.5 to 30, the limits of inr; first labs1.csv:6",
		`set aside 1: labs.test: code "CRP" is in no map`, `set aside 1: issues.product_code: code "NEW1" is in no map`,
		`unmapped 1: issues.fate: code "gone" is in no map`, `unmapped 1: issues.indication: code "unsure" is in no map`,
		`product code "NEW1" is in no product map`,
	} {
		if !strings.Contains(said, want) {
			t.Errorf("ingest does not say %q:\n%s", want, said)
		}
	}
	if strings.Contains(said, "SECRET") {
		t.Errorf("ingest names a patient:\n%s", said)
	}
	// Who asks for the pack makes no difference: it is provisional.
	ask(t, "mark", "--site", site)
	for _, verb := range []string{"report", "audit"} {
		out.Reset()
		errOut.Reset()
		if code := run(context.Background(), []string{verb, "--site", site, "--period", "2025-03", "--today", "2025-04-02"}, &out, &errOut); code != exitIncomplete {
			t.Errorf("%s: exit %d, want %d\n%s", verb, code, exitIncomplete, errOut.String())
		}
		if html := readFile(t, strings.TrimSpace(out.String())); !strings.Contains(html, "NEW1") || !strings.Contains(strings.ToLower(html), "provisional") {
			t.Errorf("%s: the pack does not say that it is provisional, and why", verb)
		}
	}
}

// TestLimitsAreHeldAgainstThePeriod: a bad month among good ones is told in its own
// pack, and a good one is not provisional for it.
func TestLimitsAreHeldAgainstThePeriod(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	put := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("site.yaml", goodSite+"limits: {rejected_share: 0.3, undetermined_share: 0.6}\n")
	put("policy.yaml", "{}\n")
	put("issues1.csv", "unit_no,product_code,patient_id,issued_at,fate\nU1,F,SECRET1,2025-02-10T10:00Z,discarded\nU2,F,SECRET1,2025-03-10T10:00Z,discarded\n")
	put("labs1.csv", "Patient,Test,Result,Taken\nSECRET1,INR,2.1,10/02/2025 09:00\nSECRET1,INR,2.1,10/03/2025 09:00\n")
	ask(t, "ingest", "--site", site)
	put("issues2.csv", "unit_no,product_code,patient_id,issued_at,fate\nU3,F,SECRET1,2025-04-10T10:00Z,transfused\n")
	put("labs2.csv", "Patient,Test,Result,Taken\nSECRET1,INR,2.1,10/04/2025 09:00\nSECRET1,INR,2.1,x\n")
	said := func(wanted exitCode, says string, args ...string) {
		t.Helper()
		var out, errOut bytes.Buffer
		code := run(context.Background(), append(args, "--site", site), &out, &errOut)
		if code != wanted || !strings.Contains(errOut.String(), says) || says == "" && strings.Contains(errOut.String(), "share") {
			t.Errorf("%s: exit %d, want %d and %q\n%s", args[0], code, wanted, says, errOut.String())
		}
		if code == exitIncomplete && args[0] == "report" && !strings.Contains(readFile(t, strings.TrimSpace(out.String())), says) {
			t.Errorf("the pack does not say %q", says)
		}
	}
	// 1 row of 6 is rejected in the store, 1 of 3 in what came.
	said(exitIncomplete, "1 of 3 rows rejected in the files of this run", "ingest")
	said(exitDone, "", "ingest")
	// 1 of 3 episodes of the store, 1 of 1 in the last month.
	said(exitIncomplete, "1 of 1 episodes of 2025-04 undetermined", "mark")
	report := func(period string) []string { return []string{"report", "--period", period, "--today", "2025-05-02"} }
	said(exitDone, "", report("2025-03")...)
	said(exitIncomplete, "1 of 1 episodes of 2025-04 undetermined", report("2025-04")...)
	said(exitIncomplete, "1 of 3 rows rejected in the files that tell of 2025-04", report("2025-04")...)
	said(exitDone, "", report("2025-02..2025-04")...)
}
