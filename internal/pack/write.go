package pack

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/google/renameio/v2"

	"thawline/internal/audit"
	"thawline/internal/chart"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/store"
)

var (
	//go:embed committee.html.tmpl
	committeeText string
	//go:embed cases.html.tmpl
	casesText string
	//go:embed index.html.tmpl
	indexText string
	//go:embed pack.css
	packCSS string
	//go:embed print.css.tmpl
	printText string
	//go:embed units.css.tmpl
	unitText string
	//go:embed cases.js
	casesJS string
)

// Paths says where the files of a pack are.
type Paths struct {
	Committee string `json:"committee"`
	Cases     string `json:"cases"`
	Run       string `json:"run"`
	// Index leads to every pack of the store; empty for a copy outside it.
	Index string `json:"index,omitempty"`
}

// run is what run.json says: how to make this pack again.
type run struct {
	Hospital   string `json:"hospital"`
	From       string `json:"from"`
	To         string `json:"to"`
	ReportDate string `json:"report_date"`
	Version    string `json:"version"`
	// History is the first month that charts and marks.parquet reach back to.
	History  string    `json:"history_from"`
	JudgedBy string    `json:"judged_by"`
	Last     *lastPack `json:"last_pack,omitempty"`
	// Headlines are the figures that head the pack, as it wrote them.
	Headlines []headline `json:"headlines"`
	// Inputs are the hashes of the files that the site keeps by hand.
	Inputs      map[string]string `json:"inputs,omitempty"`
	Provisional []string          `json:"provisional,omitempty"`
	Policy      []string          `json:"policy"`
	Sources     []Source          `json:"sources"`
	// Files are the hashes of the pages.
	Files map[string]string `json:"sha256"`
}

// bundle is a whole pack in memory, before its first file is written.
type bundle struct {
	committee, cases, run []byte
	// told is what run says.
	told run
}

// files lists the pages in the order in which they are written.
func (m *bundle) files() []struct {
	name string
	text []byte
} {
	return []struct {
		name string
		text []byte
	}{{"committee.html", m.committee}, {"cases.html", m.cases}, {"run.json", m.run}}
}

func pathsIn(dir string) Paths {
	return Paths{Committee: filepath.Join(dir, "committee.html"), Cases: filepath.Join(dir, "cases.html"), Run: filepath.Join(dir, "run.json")}
}

// pages makes the pack's pages from the loaded input.
func (in *input) pages(ctx context.Context, e *engine.Engine, drawn *chart.Renderer) (*bundle, error) {
	dashboard, defined, err := panels(in.panels)
	if err != nil {
		return nil, err
	}
	in.speak(dashboard, defined)
	css := packCSS + in.printCSS(in.confidence())
	m, casesSum := &bundle{}, ""
	var p *page
	var drawings *figures
	all, err := shared()
	if err != nil {
		return nil, err
	}
	var tables []string
	for _, q := range all {
		tables = append(tables, q.Name)
	}
	// Two sessions ask for the figures. Then what is small in them is hidden, by one
	// thread, and the other page is made beside that and beside the drawings.
	figures := newAsking(dashboard, defined)
	sessions := []string{"figures", "figures-beside"}
	var steps []audit.Step
	for _, name := range sessions {
		steps = append(steps, audit.Step{Name: name, After: tables, Run: figures.run})
	}
	err = runShared(ctx, e, append(steps,
		audit.Step{Name: "committee.html", After: sessions, Run: func(ctx context.Context, e *engine.Engine) (err error) {
			p, drawings, err = in.committee(ctx, e, dashboard, defined, figures.got, drawn, css)
			return err
		}},
		audit.Step{Name: "cases.html", After: sessions, Run: func(ctx context.Context, e *engine.Engine) (err error) {
			m.cases, err = in.casesPage(ctx, e, packCSS+in.unitsCSS()+in.printCSS(in.reviewersFoot()))
			casesSum = sha(m.cases)
			return err
		}})...)
	if err != nil {
		return nil, err
	}
	// The page is written while the charts are drawn.
	t, err := in.template("committee", committeeText)
	if err != nil {
		return nil, err
	}
	drawings.placed(p)
	page, err := filled(t, "committee", p)
	if err != nil {
		return nil, err
	}
	if m.committee, err = drawings.drawnInto(t, page); err != nil {
		return nil, err
	}
	m.told = run{Hospital: in.hospital, From: in.from, To: in.to, ReportDate: in.today, Version: in.version, History: in.historyFrom, JudgedBy: in.judgedBy, Last: in.last, Inputs: in.inputs,
		Provisional: in.provisional, Sources: in.sources, Files: map[string]string{"committee.html": sha(m.committee), "cases.html": casesSum}}
	for _, one := range p.Sections {
		if one.Answer != nil {
			m.told.Headlines = one.Answer.Headlines
		}
	}
	for _, period := range in.policy.Periods() {
		m.told.Policy = append(m.told.Policy, period.Hash)
	}
	text, err := json.MarshalIndent(m.told, "", "  ")
	m.run = append(text, '\n')
	return m, err
}

// casesPage makes cases.html.
func (in *input) casesPage(ctx context.Context, e *engine.Engine, css string) ([]byte, error) {
	c, err := in.cases(ctx, e)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256([]byte(casesJS))
	c.CSS, c.Script, c.Episodes = template.CSS(css), template.JS(casesJS), episodesHere
	c.ScriptHash = base64.StdEncoding.EncodeToString(sum[:])
	page, err := in.fill("cases", casesText, c)
	if err != nil || len(c.Cases) == 0 {
		return page, err
	}
	// The episodes of ten years are 28 MB: they are written once, in their place, and
	// not copied by each step of a template.
	before, after, found := strings.Cut(string(page), episodesHere)
	if !found {
		return nil, errors.New("template cases: no place for the episodes")
	}
	whole := make([]byte, 0, len(page)+bytesOfEpisode*len(c.Cases))
	whole = in.episodes(append(whole, before...), c.Cases)
	return append(whole, after...), nil
}

// bytesOfEpisode is what an episode takes of the page, with room to spare.
const bytesOfEpisode = 5200

// episodesHere stands in the page where its episodes come. No data can say it:
// signs of markup in data are escaped.
const episodesHere = "<!--episodes-->"

// write puts the pages into a folder outside the store, each in one step.
func (m *bundle) write(dir string) (Paths, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return Paths{}, fmt.Errorf("make the pack's folder: %w", err)
	}
	for _, file := range m.files() {
		if err := renameio.WriteFile(filepath.Join(dir, file.name), file.text, 0o640, renameio.WithStaticPermissions(0o640)); err != nil {
			return Paths{}, fmt.Errorf("write the pack: %w", err)
		}
	}
	return pathsIn(dir), nil
}

// commit makes the pages, and what they say of each episode, a pack of the
// store, and the index anew, all in one step.
func (in *input) commit(ctx context.Context, e *engine.Engine, st *store.Store, m *bundle) (Paths, error) {
	name := "packs/" + periodName(in.from, in.to)
	index, err := in.index(st, m)
	if err != nil {
		return Paths{}, err
	}
	facts := &store.LayerFacts{From: sha(m.run)}
	pages := func(dir string) ([]store.File, error) {
		marks, err := writeMarks(ctx, e, filepath.Join(dir, marksName))
		if err != nil {
			return nil, err
		}
		facts.Sums = map[string]int64{"episodes": marks.Rows}
		files := []store.File{marks}
		for _, file := range m.files() {
			f, err := stagePage(filepath.Join(dir, file.name), file.text)
			if err != nil {
				return nil, err
			}
			files = append(files, f)
		}
		return files, nil
	}
	lead := func(dir string) ([]store.File, error) {
		f, err := stagePage(filepath.Join(dir, "index.html"), index)
		return []store.File{f}, err
	}
	err = st.ReplaceLayers(ctx, store.Replacement{Name: name, Stage: pages, Facts: facts},
		store.Replacement{Name: store.IndexLayer, Stage: lead, Facts: &store.LayerFacts{From: sha(index)}})
	paths := pathsIn(filepath.Join(st.Dir(), filepath.FromSlash(name)))
	paths.Index = filepath.Join(st.Dir(), store.IndexLayer, "index.html")
	return paths, err
}

func stagePage(path string, text []byte) (store.File, error) {
	if err := os.WriteFile(path, text, 0o640); err != nil {
		return store.File{}, fmt.Errorf("write the pack: %w", err)
	}
	return store.Describe(path)
}

func sha(text []byte) string { return fmt.Sprintf("%x", sha256.Sum256(text)) }

func (in *input) fill(name, text string, data any) ([]byte, error) {
	t, err := in.template(name, text)
	if err != nil {
		return nil, err
	}
	page, err := filled(t, name, data)
	return []byte(held(page)), err
}

// template reads a page's template.
func (in *input) template(name, text string) (*template.Template, error) {
	t, err := template.New(name).Funcs(template.FuncMap{
		"whole":    in.format.Whole,
		"w":        in.w,
		"lang":     in.format.Tag,
		"dated":    in.dayOf,
		"named":    in.format.Text,
		"isolated": figure.Isolated,
		"short":    func(s string) string { return s[:min(16, len(s))] },
	}).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("template %s: %w", name, err)
	}
	return t, nil
}

// filled is a template, or a part of one, with data.
func filled(t *template.Template, name string, data any) (string, error) {
	var out strings.Builder
	if err := t.ExecuteTemplate(&out, name, data); err != nil {
		return "", fmt.Errorf("template %s: %w", name, err)
	}
	return out.String(), nil
}

// held is a page, or a part of one, with a space that does not break between each
// number and its per cent sign, so that they stand on one line.
func held(page string) string {
	var out strings.Builder
	out.Grow(len(page) + len(page)/500)
	for {
		before, after, found := strings.Cut(page, " %")
		out.WriteString(before)
		if !found {
			return out.String()
		}
		space := " "
		if n := len(before); n > 0 && before[n-1] >= '0' && before[n-1] <= '9' {
			space = "\u00a0"
		}
		out.WriteString(space + "%")
		page = after
	}
}

// printCSS is the printed page's margin text: hospital, period, a line on
// confidentiality, and page x of y.
func (in *input) printCSS(confidence string) string {
	return fmt.Sprintf(printText, cssString(in.hospital+" · "+in.period()), cssString(confidence), in.pageOf())
}

// pageOf counts the printed pages: words with {page} and {pages} as CSS.
func (in *input) pageOf() string {
	var parts []string
	for i, text := range strings.Split(in.w("page_of"), "{page}") {
		if i > 0 {
			parts = append(parts, "counter(page)")
		}
		for j, rest := range strings.Split(text, "{pages}") {
			if j > 0 {
				parts = append(parts, "counter(pages)")
			}
			parts = append(parts, cssString(rest))
		}
	}
	return strings.Join(parts, " ")
}

// cssString writes text as a CSS string: every character that is not a plain
// letter, digit or space as an escape, so that none can end it. Signs that turn the
// direction of writing would turn the rest of the line, and are left out.
func cssString(s string) string {
	var out bytes.Buffer
	out.WriteByte('"')
	for _, r := range s {
		if unicode.Is(unicode.Bidi_Control, r) {
			continue
		}
		if r == ' ' || r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			out.WriteRune(r)
		} else {
			// The space ends the escape and is no part of the text.
			fmt.Fprintf(&out, `\%06x `, r)
		}
	}
	out.WriteByte('"')
	return out.String()
}
