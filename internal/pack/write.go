package pack

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"

	"thawline/internal/chart"
	"thawline/internal/engine"
)

var (
	//go:embed committee.html.tmpl
	committeeText string
	//go:embed cases.html.tmpl
	casesText string
	//go:embed pack.css
	packCSS string
	//go:embed print.css.tmpl
	printText string
	//go:embed cases.js
	casesJS string
)

// Paths says where the files of a pack are.
type Paths struct {
	Committee string `json:"committee"`
	Cases     string `json:"cases"`
	Run       string `json:"run"`
}

// run is what run.json says: how to make this pack again.
type run struct {
	Hospital    string            `json:"hospital"`
	From        string            `json:"from"`
	To          string            `json:"to"`
	ReportDate  string            `json:"report_date"`
	Version     string            `json:"version"`
	Provisional []string          `json:"provisional,omitempty"`
	Policy      []string          `json:"policy"`
	Sources     []Source          `json:"sources"`
	Files       map[string]string `json:"sha256"`
}

// write makes the pack's files from the loaded input. All of them are made
// before the first is written, and each replaces its forerunner in one step.
func (in *input) write(ctx context.Context, e *engine.Engine, dir string) (Paths, error) {
	paths := Paths{filepath.Join(dir, "committee.html"), filepath.Join(dir, "cases.html"), filepath.Join(dir, "run.json")}
	dashboard, defined, err := panels(in.panels)
	if err != nil {
		return paths, err
	}
	drawn, err := chart.New()
	if err != nil {
		return paths, err
	}
	css := packCSS + in.printCSS()
	p, err := in.committee(ctx, e, dashboard, defined, drawn, css)
	if err != nil {
		return paths, err
	}
	committee, err := in.fill("committee", committeeText, p)
	if err != nil {
		return paths, err
	}
	c, err := in.cases(ctx, e)
	if err != nil {
		return paths, err
	}
	sum := sha256.Sum256([]byte(casesJS))
	c.CSS, c.Script = template.CSS(css), template.JS(casesJS)
	c.ScriptHash = base64.StdEncoding.EncodeToString(sum[:])
	cases, err := in.fill("cases", casesText, c)
	if err != nil {
		return paths, err
	}
	told := run{Hospital: in.hospital, From: in.from, To: in.to, ReportDate: in.today, Version: in.version, Provisional: in.provisional, Sources: in.sources,
		Files: map[string]string{"committee.html": sha(committee), "cases.html": sha(cases)}}
	for _, period := range in.policy.Periods() {
		told.Policy = append(told.Policy, period.Hash)
	}
	runText, err := json.MarshalIndent(told, "", "  ")
	if err != nil {
		return paths, err
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return paths, fmt.Errorf("make the pack's folder: %w", err)
	}
	for _, file := range []struct {
		path string
		text []byte
	}{{paths.Committee, committee}, {paths.Cases, cases}, {paths.Run, append(runText, '\n')}} {
		if err := renameio.WriteFile(file.path, file.text, 0o640, renameio.WithStaticPermissions(0o640)); err != nil {
			return paths, fmt.Errorf("write the pack: %w", err)
		}
	}
	return paths, nil
}

func sha(text []byte) string { return fmt.Sprintf("%x", sha256.Sum256(text)) }

func (in *input) fill(name, text string, data any) ([]byte, error) {
	t, err := template.New(name).Funcs(template.FuncMap{
		"whole": in.format.Whole,
		"short": func(s string) string { return s[:min(16, len(s))] },
	}).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("template %s: %w", name, err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, data); err != nil {
		return nil, fmt.Errorf("template %s: %w", name, err)
	}
	return out.Bytes(), nil
}

// printCSS is the printed page's margin text: hospital, period, a line on
// confidentiality, and page x of y.
func (in *input) printCSS() string {
	line := in.confidentiality
	if line == "" {
		line = "Confidential: for the transfusion committee."
	}
	return fmt.Sprintf(printText, cssString(in.hospital+" · "+in.period()), cssString(line))
}

// cssString writes text as a CSS string: every character that is not a plain
// letter, digit or space as an escape, so that none can end it.
func cssString(s string) string {
	var out bytes.Buffer
	out.WriteByte('"')
	for _, r := range s {
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
