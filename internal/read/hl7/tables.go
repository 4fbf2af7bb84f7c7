package hl7

import "thawline/internal/contract"

// observationStatus is table 0085 (2.5.1; A, B and V since 2.8). X, no result
// to be had, is a final line without a number; I, R and S are not final. N and O
// hold no result, see hasNoResult. U says that what was preliminary is final.
var observationStatus = map[string]string{
	"f": "final", "u": "final", "b": "final", "v": "final", "x": "final", "p": "preliminary", "r": "preliminary", "s": "preliminary", "i": "preliminary",
	"c": "corrected", "a": "corrected", "d": "cancelled", "w": "cancelled",
}

// productStatus is what of table 0511, and of 0085, takes a row out: deleted,
// and sent as wrong.
var productStatus = map[string]string{"d": "cancelled", "w": "cancelled"}

// fates are the fates of tables 0510 (BPX-2) and 0513 (BTX-11). Presumed is
// presumed; what was returned or wasted was not given.
var fates = map[string]string{
	"pt": "presumed", "ra": "returned", "rl": "returned", "wa": "discarded", "tx": "transfused", "tr": "transfused",
}

// reactions is table 0514 (BTX-18).
var reactions = map[string]string{
	"aboinc": "haemolytic", "acuthehtr": "haemolytic", "delayedhtr": "haemolytic", "nonimmune": "haemolytic",
	"allergic1": "allergic", "allergic2": "allergic", "allergicr": "allergic", "anaphylac": "allergic",
	"nonhtr1": "febrile", "nonhtr2": "febrile", "nonhtrrec": "febrile", "volover": "overload",
	"bactcontam": "other", "delayedstr": "other", "gvhd": "other", "hypotens": "other", "nonspec": "other", "ptp": "other",
}

// sexes is table 0001; U (unknown) and N (not applicable) say none.
var sexes = map[string]string{"o": "X", "a": "X"}

func codesOf(t *contract.Table) map[string]map[string]string {
	switch t {
	case contract.Labs:
		return map[string]map[string]string{"status": observationStatus}
	case contract.Issues:
		return map[string]map[string]string{"status": productStatus, "fate": fates}
	case contract.Events:
		return map[string]map[string]string{"status": productStatus, "detail": reactions}
	case contract.Patients:
		return map[string]map[string]string{"sex": sexes}
	}
	return map[string]map[string]string{"status": productStatus}
}
