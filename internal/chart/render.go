// Package chart draws figures: go-echarts makes each chart's option as data,
// and ECharts' own server-side rendering, run in a JavaScript interpreter
// without input or output, turns it into SVG that stands in the page.
package chart

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/dop251/goja"
)

// assets holds the chart library where `make assets` has fetched it; the
// placeholder beside it keeps the pattern from matching nothing.
//
//go:embed assets/echarts*
var assets embed.FS

// librarySHA256 is the SHA-256 of dist/echarts.min.js of npm's echarts 5.6.0.
const librarySHA256 = "bf4a223524e40b77c304bec67e1222cf551f14880cf42c69dc046558e11c07b1"

// limit ends a drawing that does not come to its end.
const limit = 20 * time.Second

// ErrNoLibrary says that the program was built without the chart library.
var ErrNoLibrary = errors.New("the chart library is not in this program: run `make assets` and build again, or name a file echarts.min.js of version 5.6.0 in THAWLINE_ECHARTS")

// Renderer draws charts. It is safe for concurrent use: each drawing has a
// machine for itself while it lasts.
type Renderer struct {
	// compiled is closed once program, or fault, is there.
	compiled chan struct{}
	program  *goja.Program
	fault    error

	mutex sync.Mutex
	// idle holds machines that have drawn and may draw again.
	idle []*machine
}

// machine is an interpreter into which the library is loaded. A warm one draws
// in a third of the time.
type machine struct {
	vm   *goja.Runtime
	draw goja.Callable
}

// New loads and checks the chart library, and compiles it while the caller goes
// on.
func New() (*Renderer, error) {
	var text []byte
	var err error
	from := "assets/echarts.min.js"
	if path := os.Getenv("THAWLINE_ECHARTS"); path != "" {
		from = path
		if text, err = os.ReadFile(path); err != nil {
			return nil, fmt.Errorf("read the chart library named in THAWLINE_ECHARTS: %w", err)
		}
	} else if text, err = assets.ReadFile(from); err != nil {
		return nil, ErrNoLibrary
	}
	sum := sha256.Sum256(text)
	if found := hex.EncodeToString(sum[:]); found != librarySHA256 {
		return nil, fmt.Errorf("the chart library %s has SHA-256 %s, wanted %s (echarts 5.6.0): run `make assets` again", from, found, librarySHA256)
	}
	r := &Renderer{compiled: make(chan struct{})}
	go func() {
		defer close(r.compiled)
		var fault error
		if r.program, fault = goja.Compile("echarts.min.js", string(text), false); fault != nil {
			r.fault = fmt.Errorf("compile the chart library: %w", fault)
		}
	}()
	return r, nil
}

// The library asks for timers and a console; neither does anything here.
const stubs = `
var setTimeout = function () { return 0; }, clearTimeout = function () {}, setInterval = function () { return 0; }, clearInterval = function () {};
var console = { log: function () {}, warn: function () {}, error: function () {} };`

const draw = `
(function (option, width, height, write) {
    var chart = echarts.init(null, null, { renderer: 'svg', ssr: true, width: width, height: height });
    option = JSON.parse(option);
    [].concat(option.xAxis || [], option.yAxis || []).forEach(function (axis) {
        if (axis.type === 'value') {
            var form = axis.axisLabel && axis.axisLabel.formatter || '{value}';
            axis.axisLabel = Object.assign({}, axis.axisLabel, { formatter: function (x) { return form.replace('{value}', write(x)); } });
        }
    });
    chart.setOption(option);
    var svg = chart.renderToSVGString();
    chart.dispose();
    return svg;
})`

// machine gives one that is idle, or a new one.
func (r *Renderer) machine() (*machine, error) {
	<-r.compiled
	if r.fault != nil {
		return nil, r.fault
	}
	r.mutex.Lock()
	if n := len(r.idle); n > 0 {
		m := r.idle[n-1]
		r.idle = r.idle[:n-1]
		r.mutex.Unlock()
		return m, nil
	}
	r.mutex.Unlock()
	vm := goja.New()
	// Where the library draws lots, for nothing that is seen, every run draws
	// the same.
	vm.SetRandSource(func() float64 { return 0.5 })
	if _, err := vm.RunString(stubs); err != nil {
		return nil, err
	}
	if _, err := vm.RunProgram(r.program); err != nil {
		return nil, fmt.Errorf("start the chart library: %w", err)
	}
	function, err := vm.RunString(draw)
	if err != nil {
		return nil, err
	}
	call, _ := goja.AssertFunction(function)
	return &machine{vm, call}, nil
}

// svg draws an option; write writes the numbers on its axes. The identifiers in
// the drawing count on from drawing to drawing: finish gives them names that do
// not.
func (r *Renderer) svg(option map[string]any, width, height int, write func(float64) string) (string, error) {
	text, err := json.Marshal(option)
	if err != nil {
		return "", fmt.Errorf("write the chart's option: %w", err)
	}
	m, err := r.machine()
	if err != nil {
		return "", err
	}
	timer := time.AfterFunc(limit, func() { m.vm.Interrupt("the drawing took over " + limit.String()) })
	drawn, err := m.draw(goja.Undefined(), m.vm.ToValue(string(text)), m.vm.ToValue(width), m.vm.ToValue(height), m.vm.ToValue(write))
	// A machine that failed, or was told to stop, may not be as it was.
	if timer.Stop() && err == nil {
		r.mutex.Lock()
		r.idle = append(r.idle, m)
		r.mutex.Unlock()
	}
	if err != nil {
		return "", fmt.Errorf("draw: %w", err)
	}
	return drawn.String(), nil
}

var (
	ownID     = regexp.MustCompile(`\bzr\d+-[A-Za-z0-9_-]+`)
	forbidden = regexp.MustCompile(`(?i)<\s*(script|foreignObject|iframe|image|a|use|style|animate|set)\b|\bhref\s*=|\bon[a-z]+\s*=\s*["']|url\(\s*["']?[^#"')]|javascript:`)
	opening   = regexp.MustCompile(`^<svg[^>]*>`)
	classes   = regexp.MustCompile(` class="[^"]*"`)
	styles    = regexp.MustCompile(`(?s)<style[^>]*>.*?</style>`)
	tags      = regexp.MustCompile(`<[^>]*>`)
)

// finish makes a drawing fit to stand in a page beside others: identifiers of
// its own, a role, a title and a description, and nothing that acts.
func finish(svg, id, title, description string, width, height int) (string, error) {
	svg = styles.ReplaceAllString(svg, "")
	names := map[string]string{}
	svg = tags.ReplaceAllStringFunc(svg, func(tag string) string {
		tag = ownID.ReplaceAllStringFunc(tag, func(old string) string {
			if names[old] == "" {
				names[old] = fmt.Sprintf("%s-c%d", id, len(names)+1)
			}
			return names[old]
		})
		return classes.ReplaceAllString(tag, "")
	})
	for _, tag := range tags.FindAllString(svg, -1) {
		if bad := forbidden.FindString(tag); bad != "" {
			return "", fmt.Errorf("the drawing of %s holds %q, which has no place in a page without scripts", id, bad)
		}
	}
	if !opening.MatchString(svg) {
		return "", fmt.Errorf("the drawing of %s is no SVG", id)
	}
	head := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="%s-title %s-desc" viewBox="0 0 %d %d" preserveAspectRatio="xMidYMid meet"><title id="%s-title">%s</title><desc id="%s-desc">%s</desc>`,
		id, id, width, height, id, escape(title), id, escape(description))
	return head + opening.ReplaceAllString(svg, ""), nil
}

var escape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;").Replace
