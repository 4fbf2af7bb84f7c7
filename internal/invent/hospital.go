package invent

import (
	"fmt"
	"slices"
	"time"
)

// ward is a place, and the service that asks from there.
type ward struct{ place, service string }

// wards where plasma is given to patients who bleed. One name holds a comma and
// one a semicolon, as names do.
var wards = []ward{
	{"Alder Ward", "Surgery"}, {"Birch Ward", "Medicine"}, {"Rowan Ward, East", "Medicine"},
	{"Intensive Care", "Intensive care"}, {"Intensive Care", "Surgery"}, {"Theatre 2; recovery", "Surgery"},
	{"Emergency Dept", "Emergency"}, {"Hawthorn Ward", "Liver and gut"}, {"Maternity", "Obstetrics"},
}

// placesOf gives n places: the wards, as many as are wanted, and after them
// floors with names as long as such names are, a service for each in turn.
func placesOf(n int) []ward {
	if n == 0 {
		return wards
	}
	trees := []string{"Aspen", "Blackthorn", "Cedar", "Dogwood", "Elder", "Field Maple", "Guelder Rose", "Holly"}
	kinds := []struct{ name, service string }{
		{"Ward", "Medicine"}, {"High Dependency Unit", "Intensive care"}, {"Day Unit, Level 2", "Surgery"}, {"Assessment and Short Stay Unit (North Block)", "Emergency"}}
	list := slices.Clone(wards[:min(n, len(wards))])
	for i := 0; len(list) < n; i++ {
		tree, kind := trees[i%len(trees)], kinds[i/len(trees)%len(kinds)]
		name := tree + " " + kind.name
		if round := i / (len(trees) * len(kinds)); round > 0 {
			name = fmt.Sprintf("%s %d", name, round+1)
		}
		list = append(list, ward{name, kind.service})
	}
	return list
}

// numberService gives plasma for a number before procedures of low risk.
var numberService = ward{"Line Room", "Vascular access"}

// requesterOf gives the made-up staff code of the n-th requester.
func requesterOf(n int) string { return fmt.Sprintf("DR%03d", 100+n*7) }

// product is one line of the bank's product list.
type product struct {
	code, component, kind string
	ml                    int
	becomes               string
	batch                 bool
}

// products are the bank's own codes, made up like everything else.
var products = []product{
	{"FP27", "plasma", "fresh_frozen", 275, "FT27", false},
	{"FT27", "plasma", "thawed", 275, "", false},
	{"FP20", "plasma", "pathogen_reduced", 200, "", false},
	{"FPN5", "plasma", "fresh_frozen", 50, "", false},
	{"RC28", "red_cells", "", 280, "", false},
	{"PL30", "platelets", "", 300, "", false},
	{"CP04", "cryoprecipitate", "", 40, "", false},
	{"AL50", "other", "", 100, "", false},
}

func productOf(code string) product {
	if code == pooled.code {
		return pooled
	}
	for _, p := range products {
		if p.code == code {
			return p
		}
	}
	panic("invent: no product " + code)
}

func component(code string) string { return productOf(code).component }

func nominal(code string) int { return productOf(code).ml }

// newReagent is the local day from which another lot of reagent, with another
// mean normal prothrombin time, was in use.
const newReagent = "2026-01-12"

// meanPT is the mean normal prothrombin time in s on the local day of t.
func meanPT(t time.Time) float64 {
	if t.Format(time.DateOnly) >= newReagent {
		return 11.8
	}
	return 12.1
}

// labUnit is the unit that the laboratory prints for its test code.
func labUnit(test string) string {
	switch test {
	case "PTS", "VCT":
		return "s"
	case "FIBC":
		return "mg/dL"
	case "HGB":
		return "g/dL"
	case "PLTC":
		return "10*9/L"
	case "HCT":
		return "%"
	case "CREA":
		return "umol/L"
	}
	return ""
}
