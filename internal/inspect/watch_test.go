package inspect

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// How far inspect is grows from nothing to all, within a file too, and never
// goes back; a file that is no export, or named twice, does not keep it from the end.
func TestHowFarItIs(t *testing.T) {
	dir := t.TempDir()
	var text strings.Builder
	text.WriteString("HospNo;TestCode;Result;Units;Collected\n")
	for i := range 60_000 {
		fmt.Fprintf(&text, "P%06d;INR;1.%d;;2025-03-%02dT08:00\n", i%900, i%10, i%28+1)
	}
	paths := []string{filepath.Join(dir, "labs.csv"), filepath.Join(dir, "none.csv"), filepath.Join(dir, "messages.hl7"), filepath.Join(dir, "labs.csv"), filepath.Join(dir, "gone.csv")}
	for i, content := range []string{text.String(), "\x00\x01\x02", "MSH|^~\\&|LIS|T|A|T|20250310||ORU^R01|1|P|2.5\rPID|||P1\rOBR|1|||C|||20250310\rOBX|1|NM|INR||1.2|||||||F\r"} {
		if err := os.WriteFile(paths[i], []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	size := int64(0)
	for _, path := range paths[:3] {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	var all []int64
	within := 0
	if _, err := Files(context.Background(), paths, Options{Progress: func(name string, done, total int64) {
		if total != 2*size || len(all) > 0 && done < all[len(all)-1] || strings.ContainsAny(name, "/\\") {
			t.Errorf("%s: %d of %d bytes after %v, want at most %d", name, done, total, all, 2*size)
		}
		if name == "labs.csv" && done > 0 && done < size-1000 {
			within++
		}
		all = append(all, done)
	}}); err != nil {
		t.Fatal(err)
	}
	if len(all) < 8 || all[0] != 0 || all[len(all)-1] != 2*size || within == 0 {
		t.Errorf("told %v, %d within the first file; want from 0 to %d", all, within, 2*size)
	}
}
