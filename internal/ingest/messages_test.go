package ingest

import (
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/site"
	"thawline/internal/store"
)

// One file of messages may be named by several feeds, each of which takes the
// rows of its own table; what is none of them is set aside under its own name,
// and what could not be taken apart is rejected. All messages are invented.
func TestOneFileOfMessagesForSeveralFeeds(t *testing.T) {
	s := hospital(t)
	s.Products = map[string]site.Product{"ffp": {Code: "FFP", Component: "plasma", Product: "fresh_frozen", NominalML: 275}}
	s.Feeds = nil
	for i, table := range []*contract.Table{contract.Issues, contract.Bedside, contract.Labs, contract.Measures, contract.Events, contract.Patients} {
		feed := site.Feed{Line: i + 1, Table: table, Files: filepath.Join(s.Dir, "inbox", "*.hl7")}
		if table == contract.Labs {
			feed.Codes = map[string]map[string]string{"test": {"inr": "inr"}}
		}
		if table == contract.Measures {
			feed.Codes = map[string]map[string]string{"kind": {"bw": "weight"}}
		}
		s.Feeds = append(s.Feeds, feed)
	}
	const pid = "PID|||P1^^^TARN^MR||NAME||19500102|F\r"
	put(t, s, "all.hl7", "MSH|^~\\&|BB||||20250310||BPS^O29|1|P|2.5.1\r"+pid+"ORC|RE\rBPO|1\rBPX|1|DS|F|202503100900|W000025000001|FFP||||||||1\r"+
		"MSH|^~\\&|BB||||20250310||BTS^O31|2|P|2.5.1\r"+pid+"ORC|RE\rBPO|1\rBTX|1|W000025000001|FFP|||||1|||TR|F|202503101100|||202503100930|202503101030|VOLOVER\r"+
		"MSH|^~\\&|LIS||||20250310||ORU^R01|3|P|2.5.1\r"+pid+"OBR|1|||C|||202503100800\rOBX|1|SN|INR||>^9.0||||||F\rOBX|2|NM|BW||70|kg|||||F\rOBX|3|NM|INR||1.1||||||D\rlost\r"+
		"MSH|^~\\&|ADT||||20250310||ADT^A08|4|P|2.5.1\r"+pid)
	report, readings, _, err := run1(t, s)
	if err != nil || len(readings) != 6 {
		t.Fatal(len(readings), err)
	}
	type sums struct {
		Accepted, Rejected, SetAside int64
		Codes                        map[string]store.CodeCount
	}
	got := map[string]sums{}
	for _, f := range report.Files {
		got[f.Table] = sums{f.Accepted, f.Rejected, f.SetAside, f.SetAsideCodes}
		if f.Read != f.Accepted+f.Rejected+f.SetAside {
			t.Errorf("%s: %d read", f.Table, f.Read)
		}
	}
	one := func(codes ...string) map[string]store.CodeCount {
		m := map[string]store.CodeCount{}
		for _, c := range codes {
			m[c] = store.CodeCount{Count: 1}
		}
		return m
	}
	want := map[string]sums{
		"issues":   {2, 1, 2, one("message=ORU^R01", "message=ADT^A08")},
		"bedside":  {1, 1, 3, one("message=BPS^O29", "message=ORU^R01", "message=ADT^A08")},
		"labs":     {2, 1, 4, map[string]store.CodeCount{"message=BPS^O29": {Count: 1}, "message=BTS^O31": {Count: 1}, "message=ADT^A08": {Count: 1}, "test=BW": {Count: 1, ExampleUnit: "kg"}}},
		"measures": {1, 1, 5, map[string]store.CodeCount{"message=BPS^O29": {Count: 1}, "message=BTS^O31": {Count: 1}, "message=ADT^A08": {Count: 1}, "kind=INR": {Count: 2}}},
		"events":   {1, 1, 3, one("message=BPS^O29", "message=ORU^R01", "message=ADT^A08")},
		"patients": {4, 1, 0, one()},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("sums (-want +got):\n%s", diff)
	}
}
