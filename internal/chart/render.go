// Package chart draws figures: go-echarts makes each chart's option as data,
// and ECharts' own server-side rendering, run in a JavaScript interpreter
// without input or output, turns it into SVG that stands in the page.
package chart

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// Renderer draws charts, several at a time. It is safe for concurrent use.
type Renderer struct {
	orders chan order
	// closed is closed by Close; drawings may still be on their way then.
	closed chan struct{}
}

// order is a drawing that is wanted.
type order struct {
	option        string
	width, height int
	write         func(float64) string
	done          chan<- drawing
}

// drawing is what came of an order.
type drawing struct {
	svg string
	err error
}

// New checks the chart library, and has machines make themselves ready while the
// caller goes on. Close lets them go.
func New() (*Renderer, error) { return with(machines) }

func with(machines int) (*Renderer, error) {
	library, err := readLibrary()
	if err != nil {
		return nil, err
	}
	r := &Renderer{orders: make(chan order), closed: make(chan struct{})}
	for range machines {
		go r.work(library)
	}
	return r, nil
}

// Close lets the machines go; what is not drawn by then is an error.
func (r *Renderer) Close() { close(r.closed) }

// svg draws an option; write writes the numbers on its axes and bars. The identifiers in
// the drawing count on from drawing to drawing: finish gives them names that do
// not.
func (r *Renderer) svg(option map[string]any, width, height int, write func(float64) string) (string, error) {
	text, err := json.Marshal(option)
	if err != nil {
		return "", fmt.Errorf("write the chart's option: %w", err)
	}
	done := make(chan drawing, 1)
	select {
	case r.orders <- order{string(text), width, height, write, done}:
	case <-r.closed:
		return "", errors.New("draw: the chart library was let go")
	}
	drawn := <-done
	if drawn.err != nil {
		return "", fmt.Errorf("draw: %w", drawn.err)
	}
	return drawn.svg, nil
}

var (
	ownID     = regexp.MustCompile(`\bzr\d+-[A-Za-z0-9_-]+`)
	forbidden = regexp.MustCompile(`(?i)<\s*(script|foreignObject|iframe|image|a|use|style|animate|set)\b|\bhref\s*=|\bon[a-z]+\s*=\s*["']|url\(\s*["']?[^#"')]|javascript:`)
	opening   = regexp.MustCompile(`^<svg[^>]*>`)
	classes   = regexp.MustCompile(` class="[^"]*"`)
	styles    = regexp.MustCompile(`(?s)<style[^>]*>.*?</style>`)
)

// finish makes a drawing fit to stand in a page beside others: identifiers of
// its own, a role, a title and a description, and nothing that acts.
func finish(svg, id, title, description string, width, height int) (string, error) {
	svg = styles.ReplaceAllString(svg, "")
	names := map[string]string{}
	var bad string
	svg = eachTag(svg, func(tag string) string {
		// Most tags hold nothing of it: the searches for what may be there are dear.
		if strings.Contains(tag, "zr") {
			tag = ownID.ReplaceAllStringFunc(tag, func(old string) string {
				if names[old] == "" {
					names[old] = fmt.Sprintf("%s-c%d", id, len(names)+1)
				}
				return names[old]
			})
		}
		if strings.Contains(tag, " class=") {
			tag = classes.ReplaceAllString(tag, "")
		}
		if bad == "" && suspect(tag) {
			bad = forbidden.FindString(tag)
		}
		return tag
	})
	if bad != "" {
		return "", fmt.Errorf("the drawing of %s holds %q, which has no place in a page without scripts", id, bad)
	}
	if !opening.MatchString(svg) {
		return "", fmt.Errorf("the drawing of %s is no SVG", id)
	}
	head := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="%s-title %s-desc" viewBox="0 0 %d %d" preserveAspectRatio="xMidYMid meet"><title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`,
		id, id, width, height, id, escape(title), id, escape(description))
	return head + opening.ReplaceAllString(svg, ""), nil
}

// elements are those of the library's drawings: of these alone a tag may go
// without a search for what is forbidden.
var elements = map[string]bool{"svg": true, "g": true, "path": true, "rect": true, "circle": true, "ellipse": true, "line": true, "polyline": true, "polygon": true, "text": true, "tspan": true, "defs": true, "pattern": true, "clipPath": true}

// suspect says that a tag may hold what is forbidden: it is another element, or
// an attribute is named as one that acts or leads elsewhere, or a value has url(
// or a scheme. The search itself is dear, and nearly every tag can do without.
func suspect(tag string) bool {
	name := strings.TrimLeft(tag[1:len(tag)-1], "/")
	if i := strings.IndexAny(name, " /\t\n\r\f"); i >= 0 {
		name = name[:i]
	}
	if !elements[name] {
		return true
	}
	for i := 1; i < len(tag); i++ {
		before := tag[i-1] | 0x20
		switch tag[i] {
		case '<':
			return true
		case '(':
			if before == 'l' {
				return true // url(
			}
		case ':':
			if before == 't' {
				return true // javascript:
			}
		case '=':
			if tag[i-1] <= ' ' || before == 'f' || acts(tag[:i]) {
				return true // href=, onload=, or a name with a space behind it
			}
		}
	}
	return false
}

// acts says that a tag so far ends with the name of an attribute that may begin
// with on.
func acts(tag string) bool {
	from := len(tag)
	for from > 0 && (tag[from-1]|0x20 >= 'a' && tag[from-1]|0x20 <= 'z' || tag[from-1] >= 0x80) {
		from--
	}
	return len(tag)-from > 2 && tag[from]|0x20 == 'o' && tag[from+1]|0x20 == 'n'
}

// eachTag changes every tag of a text, from < to the next >.
func eachTag(text string, change func(tag string) string) string {
	var out strings.Builder
	out.Grow(len(text))
	for {
		from := strings.IndexByte(text, '<')
		if from < 0 {
			break
		}
		to := strings.IndexByte(text[from:], '>')
		if to < 0 {
			break
		}
		out.WriteString(text[:from])
		out.WriteString(change(text[from : from+to+1]))
		text = text[from+to+1:]
	}
	out.WriteString(text)
	return out.String()
}

var escape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;").Replace
