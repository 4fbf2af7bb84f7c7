package fhir

import "thawline/internal/contract"

// observationStatus is the value set observation-status. Of unknown status ranks
// as preliminary, as a word in no map does.
var observationStatus = map[string]string{
	"registered": "preliminary", "preliminary": "preliminary", "unknown": "preliminary", "final": "final",
	"amended": "corrected", "corrected": "corrected", "cancelled": "cancelled", "entered-in-error": "cancelled",
}

// gone are the states of other resources that take a row out: event-status,
// condition-ver-status, and of observations what holds no value.
var gone = map[string]string{"entered-in-error": "cancelled", "not-done": "cancelled", "refuted": "cancelled", "cancelled": "cancelled"}

// absent is of the value set data-absent-reason what has a word of its own.
var absent = map[string]string{"temp-unknown": "pending"}

// sexes is the value set administrative-gender.
var sexes = map[string]string{"female": "F", "male": "M", "other": "X"}

func codesOf(t *contract.Table) map[string]map[string]string {
	switch t {
	case contract.Labs:
		return map[string]map[string]string{"status": observationStatus, "no_value": absent}
	case contract.Patients:
		return map[string]map[string]string{"sex": sexes}
	}
	return map[string]map[string]string{"status": gone}
}
