package pack

import (
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// sparseFeed is the mean number of rows a month under which a month without any may be
// chance: of a mean of 10, chance alone leaves one month in 20,000 empty (Poisson).
const sparseFeed = 10

// heard names the columns of feeds_by_month that tell whether a feed was there in a
// month, for what would have been written down in that month. Weights are none of them:
// one of an earlier month holds.
var heard = []struct{ feed, column, words string }{
	{figure.Bleeding, "bleeding", "feed_bleeding"},
	{contract.Events.Name, "events", "feed_events"},
	{contract.Medicines.Name, "medicines", "feed_medicines"},
	{contract.Labs.Name, "labs", "feed_labs"},
	{contract.Bedside.Name, "bedside", "feed_bedside"},
	{contract.Activity.Name, "activity", "feed_activity"},
}

// missingMonths are the months shown, by feed, in which a feed has no row though it has
// some in other months, and though issues were read of it. Bleeding is judged as marks
// judge it: a month without any row of it tells of none.
func (in *input) missingMonths(all []*figure.Figure) map[string]map[string]bool {
	missing := map[string]map[string]bool{}
	byIndication := in.policy != nil && slices.ContainsFunc(in.policy.Periods(), func(p policy.Period) bool {
		told, _ := p.Values["bleeding_recorded_in"].(string)
		return slices.Contains(strings.Fields(told), "indication")
	})
	for _, f := range all {
		month := f.Index("month")
		if f.Name != "feeds_by_month" || month < 0 {
			continue
		}
		for _, one := range heard {
			at := f.Index(one.column)
			if at < 0 || one.feed == figure.Bleeding && byIndication {
				continue
			}
			var rows, months int64
			without := map[string]bool{}
			for _, row := range f.Rows {
				name, _ := row[month].Value.(string)
				if n, ok := row[at].Value.(int64); ok && !in.unread[name] {
					months++
					if rows += n; n == 0 {
						without[name] = true
					}
				}
			}
			if rows > 0 && (one.feed == figure.Bleeding || rows >= sparseFeed*months) {
				missing[one.feed] = without
			}
		}
	}
	return missing
}

// periodMonths lists the months of the period of which issues were read.
func (in *input) periodMonths() (all []string) {
	for m := in.from; m <= in.to; {
		if !in.unread[m] {
			all = append(all, m)
		}
		next, err := addMonths(m, 1)
		if err != nil {
			return all
		}
		m = next
	}
	return all
}

// missingInPeriod says that a feed told nothing of any month of the period.
func (in *input) missingInPeriod(feed string) bool {
	months := in.periodMonths()
	return len(months) > 0 && !slices.ContainsFunc(months, func(m string) bool { return !in.missing[feed][m] })
}

// missingSays says of each feed in which months of the period it told nothing.
func (in *input) missingSays() (all []string) {
	for _, one := range heard {
		var months []string
		for _, m := range in.periodMonths() {
			if in.missing[one.feed][m] {
				months = append(months, in.format.Month(m))
			}
		}
		if len(months) > 0 {
			all = append(all, in.w("missing_feed", in.w(one.words), strings.Join(months, ", ")))
		}
	}
	return all
}

// forgetRules takes the noughts of rules away that nothing could have fired in the
// period, since a feed that they need told nothing of it, and says so in their row.
func (in *input) forgetRules(f *figure.Figure) {
	column := map[string]string{"safety_findings": "period", "findings": "fired"}[f.Name]
	if column == "" {
		return
	}
	finding, at, run := f.Index("finding"), f.Index(column), f.Index("run")
	for _, rule := range in.rules {
		for _, need := range rule.List("needs") {
			if !in.missingInPeriod(need) {
				continue
			}
			for _, row := range f.Rows {
				if row[finding].Value == strings.ReplaceAll(rule.Name, "_", " ") && row[at].Value == int64(0) {
					row[at], row[run].Value = figure.Cell{}, in.w("missing_rule", in.w("feed_"+need))
				}
			}
		}
	}
}

// leansOn names the feed without which a share by month is one of other episodes, by
// figure.
var leansOn = map[string]string{"appropriate_by_month": figure.Bleeding, "tested_after": contract.Labs.Name, "plasma_per_admissions": contract.Activity.Name}

// missingNote names the months shown in which that feed told nothing; empty where there
// is none.
func (in *input) missingNote(f *figure.Figure) string {
	month, feed := f.Index("month"), leansOn[f.Name]
	if month < 0 || feed == "" {
		return ""
	}
	var months []string
	for _, row := range f.Rows {
		if name, _ := row[month].Value.(string); in.missing[feed][name] {
			months = append(months, in.format.Month(name))
		}
	}
	if len(months) == 0 {
		return ""
	}
	return in.w("missing_note_"+feed, strings.Join(months, ", "))
}
