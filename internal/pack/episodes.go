package pack

import (
	"fmt"
	"html/template"
	"strings"
)

// sheet is HTML that is being written: thousands of episodes, which a template
// takes ten times as long to fill.
type sheet []byte

// put writes markup of our own, and words that are escaped already.
func (s *sheet) put(parts ...string) {
	for _, part := range parts {
		*s = append(*s, part...)
	}
}

// text writes data: between tags, or between the quotes of an attribute. It escapes
// as the templates do, and holds a number and its per cent sign together (held).
func (s *sheet) text(data string) {
	from := 0
	for i := 0; i < len(data); i++ {
		instead, at := "", i
		switch data[i] {
		case '"':
			instead = "&#34;"
		case '\'':
			instead = "&#39;"
		case '&':
			instead = "&amp;"
		case '<':
			instead = "&lt;"
		case '>':
			instead = "&gt;"
		case 0:
			instead = "\uFFFD"
		case '%':
			if i < 2 || data[i-1] != ' ' || data[i-2] < '0' || data[i-2] > '9' {
				continue
			}
			instead, at = "\u00a0%", i-1
		default:
			continue
		}
		*s = append(append(*s, data[from:at]...), instead...)
		from = i + 1
	}
	*s = append(*s, data[from:]...)
}

// list writes lines under their heading, or nothing.
func (s *sheet) list(heading string, lines []string) {
	if len(lines) == 0 {
		return
	}
	s.put(`<p class="small"><b>`, heading, `</b></p><ul class="plain">`)
	for _, line := range lines {
		s.put(`<li>`)
		s.text(line)
		s.put(`</li>`)
	}
	s.put("</ul>\n")
}

// unitHeads are the heads of the table of an episode's units.
var unitHeads = []struct{ class, key string }{{"", "product"}, {"", "fate"}, {"", "issued"}, {"", "begin"}, {"", "finish"}, {"", "times"}, {`class="n" `, "ml"}, {`class="n" `, "given_ml"}, {"", "source"}}

// unitsCSS names the values of units where each is a card, on a phone: once in the page
// and not in each of many thousand cells.
func (in *input) unitsCSS() string {
	var css strings.Builder
	for i, head := range unitHeads[1:] {
		fmt.Fprintf(&css, unitText, i+2, cssString(in.w(head.key)))
	}
	return css.String()
}

// episodes adds to a page what cases.html shows of each episode.
func (in *input) episodes(page []byte, all []episode) []byte {
	said := func(key string) string { return held(template.HTMLEscapeString(in.w(key))) }
	scroll := func(key string) string {
		return `<div class="scroll" tabindex="0" role="group" aria-label="` + said(key) + `">`
	}
	chart, patient, begun, wordOf := scroll("wide_chart"), said("patient"), said("begun"), said("reviewers_word")
	evidence, records, decided, findings := said("evidence"), said("records"), said("decided"), said("findings")
	heads := scroll("wide_table") + `<table class="dense cards units"><thead><tr>`
	for _, head := range unitHeads {
		heads += `<th ` + head.class + `scope="col">` + said(head.key) + `</th>`
	}
	heads += `</tr></thead><tbody>`
	rows := map[int64]string{}
	s := (*sheet)(&page)
	for i := range all {
		one := &all[i]
		if rows[one.Row] == "" {
			rows[one.Row] = held(template.HTMLEscapeString(in.w("row_of_table", one.Row)))
		}
		s.put(`<article class="case" id="e-`, one.Name, `" data-mark="`)
		s.text(one.Mark)
		s.put(`" data-place="`)
		s.text(one.Place)
		s.put(`" data-findings="`)
		s.text(one.FindingNames)
		s.put("\">\n<h3><code>", one.Name, `</code> <span class="mark">`)
		s.text(one.MarkWords)
		s.put("</span></h3>\n<p>")
		s.text(one.Because)
		s.put(` <span class="small">`, rows[one.Row], "</span></p>\n", `<p class="small">`, patient, ` <code>`, one.Patient, `</code> · `, begun, ` `)
		s.text(one.Begin)
		s.put(` · `)
		s.text(one.Place)
		s.put(` · `)
		s.text(one.Specialty)
		s.put("</p>\n")
		if one.Line != "" {
			s.put(chart, string(one.Line), "</div>\n")
		}
		s.put(`<dl class="facts-list">`)
		for _, f := range one.Facts {
			s.put(`<div><dt>`)
			s.text(f.Name)
			s.put(`</dt><dd>`)
			s.text(f.Value)
			s.put(`</dd></div>`)
		}
		s.put("</dl>\n")
		if len(one.Evidence) == 0 {
			s.put(`<p class="small">`)
			s.text(one.NoEvidence)
			s.put("</p>\n")
		}
		s.list(evidence, one.Evidence)
		s.list(records, one.Records)
		s.list(decided, one.Decided)
		s.list(findings, one.Findings)
		s.put(heads)
		for j := range one.Units {
			s.unit(&one.Units[j])
		}
		s.put("</tbody></table></div>\n", `<p class="word">`, wordOf, "</p>\n</article>\n")
	}
	// Names and pseudonyms are ours; all else went through text.
	return page
}

// unit writes a unit as a row of its episode's table.
func (s *sheet) unit(u *unit) {
	s.put(`<tr>`)
	for _, cell := range [...]struct{ open, text string }{{`<td class="long">`, u.Product}, {`<td>`, u.Fate}, {`<td class="whole">`, u.Issued}, {`<td class="whole">`, u.Begin}, {`<td class="whole">`, u.Finish},
		{`<td>`, u.Times}, {`<td class="n">`, u.Volume}, {`<td class="n">`, u.Given}, {`<td class="long">`, u.Source}} {
		s.put(cell.open)
		s.text(cell.text)
		s.put(`</td>`)
	}
	s.put(`</tr>`)
}
