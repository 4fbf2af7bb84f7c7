//go:build ignore

// Make writes inbox/: two months of exports of a hospital that does not exist,
// in local words, local codes and local ways to write times and numbers. Every
// patient, name, place and number is made up. The same run gives the same bytes:
//
//	go run testdata/firstrun/make.go
package main

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/encoding/charmap"
)

// row is a line of an export and the time by which it is told.
type row struct {
	at   time.Time
	text string
}

type world struct {
	random  *rand.Rand
	serial  int
	issues  []row
	labs    []row
	weights []row
	events  []row
}

const (
	minute  = "02.01.2006 15:04"
	second  = "02.01.2006 15:04:05"
	pattern = "Z04072600%04d"
)

func main() {
	w := &world{random: rand.New(rand.NewPCG(11, 2026))}
	for i := range 70 {
		w.patient(i)
	}
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		log.Fatal(err)
	}
	// The clock skips the hour from two to three on 29 March 2026.
	w.labs = append(w.labs, row{time.Date(2026, 3, 29, 2, 30, 0, 0, time.UTC), "40000000;INR;1,3;;29.03.2026 02:30:00;29.03.2026 03:40:00"})
	const bank = "Konservennummer;Produkt;Bezeichnung;Volumen;Patientennummer;Patientenname;Station;Arzt;Indikation;Angefordert;Aufgetaut;Ausgabe;Rückgabe;Verworfen;Verwurfsgrund;Verbleib"
	const labs = "Patientennummer;Untersuchung;Ergebnis;Einheit;Entnahmezeit;Freigabe"
	for month := 3; month <= 4; month++ {
		from := time.Date(2026, time.Month(month), 1, 0, 0, 0, 0, zone)
		to := from.AddDate(0, 1, 0)
		made := to.AddDate(0, 0, 2).Format(time.DateOnly)
		western("Ausgabe_"+made+".csv", text(bank, w.issues, from, to))
		packed("Labor_"+made+".csv.gz", strings.ReplaceAll(text(labs, w.labs, from, to), "\n", "\r\n"))
		western("Ereignisse_"+made+".csv", text("Patientennummer;Ereignis;Schweregrad;Beginn", w.events, from, to))
	}
	western("Gewichte_2026-05-03.csv", text("Patientennummer;Art;Wert;Einheit;Gemessen", w.weights, time.Date(2020, 1, 1, 0, 0, 0, 0, zone), time.Date(2030, 1, 1, 0, 0, 0, 0, zone)))
}

// patient lives through one stay with one or two episodes.
func (w *world) patient(i int) {
	number, name := fmt.Sprint(40_000_000+i*7919), fmt.Sprintf("Muster%02d, %s", i, []string{"Erika", "Max", "Jan", "Ute"}[i%4])
	admitted := time.Date(2026, 3, 1+i*59/70, 7+i%12, i*7%60, 0, 0, time.UTC)
	kilos := 48 + w.random.Float64()*60
	w.weights = append(w.weights, row{admitted, strings.Join([]string{number, "Gewicht", decimal(kilos, 1), "kg", admitted.Format(minute)}, ";")},
		row{admitted, strings.Join([]string{number, "Größe", fmt.Sprint(150 + i%45), "cm", admitted.Format(minute)}, ";")})
	reason := []string{"Blutung", "Gerinnung", "Vor Eingriff", "Massivtransfusion", "Gerinnung"}[i%5]
	at := admitted.Add(time.Duration(3+w.random.IntN(20)) * time.Hour)
	inr := 1.2 + w.random.Float64()*2.4
	switch reason {
	case "Blutung", "Massivtransfusion":
		w.events = append(w.events, row{at.Add(-time.Hour), strings.Join([]string{number, "Blutung", []string{"schwer", "leicht"}[i%2], at.Add(-time.Hour).Format(minute)}, ";")})
	case "Vor Eingriff":
		w.events = append(w.events, row{at.Add(6 * time.Hour), strings.Join([]string{number, "OP", []string{"HR", "NR"}[i%2], at.Add(6 * time.Hour).Format(minute)}, ";")})
	}
	if i%9 == 0 {
		w.events = append(w.events, row{at.Add(-2 * time.Hour), strings.Join([]string{number, "Sturz", "", at.Add(-2 * time.Hour).Format(minute)}, ";")})
	}
	w.sample(number, at.Add(-90*time.Minute), inr)
	units := 1 + w.random.IntN(5)
	for u := range units {
		w.unit(i, number, name, reason, at.Add(time.Duration(u*9)*time.Minute), u)
	}
	w.sample(number, at.Add(4*time.Hour), 1+(inr-1)*0.6)
	for u := range 1 + i%3 {
		w.issue([]string{"EK1", "Erythrozytenkonzentrat", "280"}, number, name, "Anämie", at.Add(time.Duration(30+u*20)*time.Minute), "", "", "", "", "TRF")
	}
	if i%4 == 0 {
		w.issue([]string{"TK1", "Thrombozytenkonzentrat", "300"}, number, name, "Blutung", at.Add(50*time.Minute), "", "", "", "", "TRF")
	}
}

// unit is one bag of plasma.
func (w *world) unit(i int, number, name, reason string, at time.Time, u int) {
	product := []string{"GFP", "Gefrorenes Frischplasma", "250"}
	if (i+u)%6 == 0 {
		product = []string{"GFPA", "Aufgetautes Plasma", "250"}
	}
	fate, back, binned, why := "TRF", "", "", ""
	switch (i*3 + u) % 11 {
	case 4:
		fate, back = "RUE", at.Add(20*time.Minute).Format(minute)
	case 7:
		fate, binned, why = "VWF", at.Add(7*time.Hour).Format(minute), []string{"nicht benötigt", "Beutel defekt"}[i%2]
	}
	w.issue(product, number, name, reason, at, at.Add(-25*time.Minute).Format(minute), back, binned, why, fate)
}

func (w *world) issue(product []string, number, name, reason string, at time.Time, thawed, back, binned, why, fate string) {
	w.serial++
	ward := []string{"Innere 1", "Chirurgie", "Intensiv", "Notaufnahme"}[w.serial/5%4]
	w.issues = append(w.issues, row{at, strings.Join([]string{fmt.Sprintf(pattern, w.serial), product[0], product[1], product[2], number, name, ward, fmt.Sprintf("A%03d", 101+w.serial/7%9*13),
		reason, at.Add(-40 * time.Minute).Format(minute), thawed, at.Format(minute), back, binned, why, fate}, ";")})
}

// sample is one tube and its results.
func (w *world) sample(number string, at time.Time, inr float64) {
	result := func(test, value, unit string) {
		w.labs = append(w.labs, row{at, strings.Join([]string{number, test, value, unit, at.Format(second), at.Add(50 * time.Minute).Format(second)}, ";")})
	}
	result("INR", decimal(inr, 1), "")
	result("Quick", decimal(100/inr, 0), "%")
	result("aPTT", decimal(24+inr*6, 0), "Sek")
	result("Fibrinogen", decimal(1+w.random.Float64()*3, 2), "g/l")
	result("Hb", decimal(7+w.random.Float64()*5, 1), "g/dl")
	result("Thrombozyten", decimal(40+w.random.Float64()*250, 0), "Tsd/µl")
	result("Krea", decimal(0.6+w.random.Float64(), 2), "mg/dl")
}

// decimal writes a number with a comma.
func decimal(v float64, places int) string {
	return strings.Replace(fmt.Sprintf("%.*f", places, v), ".", ",", 1)
}

// text writes the rows of a span under a header, in order of time.
func text(header string, rows []row, from, to time.Time) string {
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.at.Unix(), b.at.Unix()) })
	var b strings.Builder
	b.WriteString(header + "\n")
	for _, r := range rows {
		if !r.at.Before(from) && r.at.Before(to) {
			b.WriteString(r.text + "\n")
		}
	}
	return b.String()
}

func western(name, text string) {
	encoded, err := charmap.Windows1252.NewEncoder().String(text)
	if err != nil {
		log.Fatal(err)
	}
	put(name, []byte(encoded))
}

func packed(name, text string) {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	if _, err := w.Write([]byte(text)); err != nil {
		log.Fatal(err)
	}
	if err := w.Close(); err != nil {
		log.Fatal(err)
	}
	put(name, b.Bytes())
}

func put(name string, content []byte) {
	if err := os.WriteFile(filepath.Join("testdata", "firstrun", "inbox", name), content, 0o644); err != nil {
		log.Fatal(err)
	}
}
