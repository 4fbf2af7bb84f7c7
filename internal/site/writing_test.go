package site

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestHowThePackWrites(t *testing.T) {
	load := func(lines string) (*Site, error) {
		path := filepath.Join(t.TempDir(), "site.yaml")
		text := "hospital: Invented\ntime_zone: Europe/Dublin\nfeeds: [{table: issues, files: a.csv}, {table: labs, files: b.csv}]\n" + lines
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return Load(path)
	}
	s, err := load("language: en\ndecimal: Comma\ndate_form: 2.1.2006\n")
	if err != nil || !s.DecimalComma || s.Language != "en" || s.DateForm != "2.1.2006" {
		t.Errorf("%+v, %v", s, err)
	}
	if s, err = load(""); err != nil || s.DecimalComma || s.Language != "" || s.DateForm != "" {
		t.Errorf("%+v, %v", s, err)
	}
	_, err = load("language: klingon\ndecimal: dot\ndate_form: dd.mm.yyyy\n")
	for _, want := range []string{`:4:11: language: "klingon" is not known`, `:5:10: decimal: found "dot", wanted point or comma`, `:6:12: date_form: found "dd.mm.yyyy", wanted a form with day, month and year`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no fault %q in %v", want, err)
		}
	}
}
