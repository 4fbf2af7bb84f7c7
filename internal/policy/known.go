package policy

// KnownValue is one value that a site's policy may state.
type KnownValue struct {
	Name string `json:"name"`
	// Default is the value without a word of the site, in words; Wanted what may
	// stand in its place.
	Default string   `json:"default"`
	Unit    string   `json:"unit,omitempty"`
	Wanted  string   `json:"wanted"`
	Source  string   `json:"source"`
	Others  []string `json:"others,omitempty"`
}

// Known lists every value in the order of the defaults.
func Known() (all []KnownValue) {
	for _, d := range definitions {
		v := KnownValue{Name: d.name, Unit: d.Unit, Wanted: d.wanted(), Source: d.Source, Others: d.Others}
		if d.Kind == table {
			v.Default = weightsText(defaultWeights)
		} else {
			v.Default = d.textOf(defaultValues)
		}
		all = append(all, v)
	}
	return all
}
