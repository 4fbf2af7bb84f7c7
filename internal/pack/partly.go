package pack

import (
	"context"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
)

// partlyDays is how many days at a month's end may have no record before it is said: of
// all components and of results, a hospital has some every day or two.
const partlyDays = 2

// findReach finds the last days of which issues and results tell: those of the last
// record, or of the newest export that bears a date.
func (in *input) findReach(ctx context.Context, e *engine.Engine) error {
	_, rows, err := e.Rows(ctx, "last records", "SELECT strftime(max(issues.issued_local), '%Y-%m-%d'), (SELECT max(labs.collected_at) FROM labs) FROM issues")
	if err != nil {
		return err
	}
	in.reach = map[string]string{}
	if day, ok := rows[0][0].(string); ok {
		in.reach[contract.Issues.Name] = day
	}
	if at, ok := rows[0][1].(time.Time); ok {
		in.reach[contract.Labs.Name] = day(at.UTC().In(in.zone))
	}
	for _, s := range in.sources {
		if last := in.reach[s.Table]; last != "" && s.Date > last {
			in.reach[s.Table] = s.Date
		}
	}
	return nil
}

// half tells in words what of the period was not read, or is still to come; nothing
// where it is whole, or where nothing of it was read.
func (in *input) half() string {
	if in.unreadPeriod() {
		return ""
	}
	var parts, unread []string
	lastRead, from := in.from, ""
	for m := in.from; m <= in.to; {
		next, err := addMonths(m, 1)
		if err != nil {
			return ""
		}
		if in.unread[m] {
			if from == "" {
				from = m
			}
			if !in.unread[next] || next > in.to {
				unread, from = append(unread, in.periodOf(from, m)), ""
			}
		} else {
			lastRead = m
		}
		m = next
	}
	if len(unread) > 0 {
		parts = append(parts, in.w("partly_unread", strings.Join(unread, ", ")))
	}
	if end, err := time.Parse("2006-01", lastRead); err == nil {
		enough := day(end.AddDate(0, 1, -1-partlyDays))
		issues, labs := in.reach[contract.Issues.Name], in.reach[contract.Labs.Name]
		shortIssues, shortLabs := issues != "" && issues < enough, labs != "" && labs < enough
		switch {
		case shortIssues && shortLabs:
			parts = append(parts, in.w("partly_to", in.dayOf(max(issues, labs))))
		case shortIssues:
			parts = append(parts, in.w("partly_issues_to", in.dayOf(issues)))
		case shortLabs:
			parts = append(parts, in.w("partly_labs_to", in.dayOf(labs)))
		}
	}
	if end, err := time.Parse("2006-01", in.to); err == nil && in.today != "" && in.today <= day(end.AddDate(0, 1, -1)) {
		parts = append(parts, in.w("partly_not_over", in.reportDate()))
	}
	return strings.Join(parts, "; ")
}

// partly is half in parentheses, after the name of the period.
func (in *input) partly() string {
	if half := in.half(); half != "" {
		return in.w("partly", half)
	}
	return ""
}
