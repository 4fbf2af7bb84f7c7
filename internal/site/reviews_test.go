package site

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func reviewsOf(t *testing.T, text string) ([]Review, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, ReviewsFile), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return (&Site{Dir: dir}).LoadReviews()
}

func TestReviews(t *testing.T) {
	for _, text := range []string{
		"episode,word,date,remark\n3667024d82,Under-Dosed,2026-10-20,\"two lines\nof it\"\nABCDEF0123,appropriate,2026-10-21,\n",
		"\xef\xbb\xbfDate;Episode;Word\r\n2026-10-20;3667024d82;under-dosed\r\n\r\n2026-10-21; abcdef0123 ;appropriate\r\n",
	} {
		all, err := reviewsOf(t, text)
		if err != nil || len(all) != 2 || all[0].Word != "under-dosed" || all[1].Episode != "abcdef0123" || all[1].Line != 4 || all[1].Date.Format("2006-01-02") != "2026-10-21" {
			t.Errorf("%+v, %v", all, err)
		}
	}
	if all, err := (&Site{Dir: t.TempDir()}).LoadReviews(); all != nil || err != nil {
		t.Errorf("a site without the file has %v, %v", all, err)
	}
}

func TestEveryFaultOfReviewsHasItsPlaceAndNoCell(t *testing.T) {
	_, err := reviewsOf(t, "episode,word,date\n,appropriate,2026-10-20\n3667024d82,Mrs Nobody,2026-10-20\n3667024d82,wasted,20.10.2026\n3667024d82,wasted,2026-10-20\n")
	if err == nil {
		t.Fatal("no fault")
	}
	for _, want := range []string{
		"reviews.csv:2:1: episode: found nothing",
		"reviews.csv:3:12: word: found no mark, wanted the mark that the reviewer would give: one of appropriate",
		"reviews.csv:4:19: date: wanted a day as 2026-10-20",
		"reviews.csv:5:1: episode: found twice on one day",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no fault %q in\n%v", want, err)
		}
	}
	for _, cell := range []string{"3667024d82", "Nobody", "20.10"} {
		if strings.Contains(err.Error(), cell) {
			t.Errorf("a fault repeats the cell %q:\n%v", cell, err)
		}
	}
	for text, want := range map[string]string{
		"case,word,date\nx,y,z\n":           "reviews.csv:1:1: found no column episode, wanted episode, word, date",
		"episode,word,date\n\"a,b,c\nd,e\n": "a quote does not close",
		"episode,word,date\nab\n":           "reviews.csv:2:1: word: found no mark",
	} {
		if _, err := reviewsOf(t, text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: wanted %q, got %v", text, want, err)
		}
	}
}
