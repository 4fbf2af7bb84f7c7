package chart

import (
	"errors"
	"fmt"
	"runtime"
	"time"

	"github.com/buke/quickjs-go"
)

// machines is how many charts are drawn at a time.
const machines = 2

const (
	// limit ends a drawing that does not come to its end.
	limit = time.Minute
	// A machine with the library in it takes 20 MB, and half a MB more with each
	// drawing until what goes round in circles is collected.
	memoryLimit   = 512 << 20
	collectedFrom = 96 << 20
	stackLimit    = 1 << 20
)

// The library asks for timers and a console; neither does anything here. Where it
// draws lots, for nothing that is seen, every run draws the same.
const stubs = `
var setTimeout = function () { return 0; }, clearTimeout = function () {}, setInterval = function () { return 0; }, clearInterval = function () {};
var console = { log: function () {}, warn: function () {}, error: function () {} };
Math.random = function () { return 0.5; };`

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
    [].concat(option.series || []).forEach(function (one) {
        if (one.label && one.label.show && !one.label.formatter) {
            one.label.formatter = function (at) { return write(at.value); };
        }
    });
    chart.setOption(option);
    var svg = chart.renderToSVGString();
    chart.dispose();
    return svg;
})`

// machine is an interpreter, without input or output, into which the library is
// loaded. One that has drawn draws again. It is bound to a goroutine and a thread.
type machine struct {
	runtime     *quickjs.Runtime
	context     *quickjs.Context
	draw, write *quickjs.Value
	// written writes the numbers of the drawing at work, which ends at until.
	written func(float64) string
	until   time.Time
	limit   time.Duration
}

// work makes a machine and draws what is ordered, one after another.
func (r *Renderer) work(library library) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	m, err := start(library)
	for {
		var one order
		select {
		case one = <-r.orders:
		case <-r.closed:
			if m != nil {
				m.close()
			}
			return
		}
		if m == nil && err == nil {
			m, err = start(library)
		}
		if err != nil {
			one.done <- drawing{err: err}
			continue
		}
		svg, fault := m.svg(one)
		if fault != nil {
			// A machine that failed, or was told to stop, may not be as it was.
			m.close()
			m = nil
		}
		one.done <- drawing{svg, fault}
	}
}

// start makes a machine with the library in it.
func start(library library) (*machine, error) {
	m, err := empty()
	if err != nil {
		return nil, err
	}
	if err := m.load(library); err != nil {
		m.close()
		return nil, fmt.Errorf("start the chart library: %w", err)
	}
	return m, nil
}

// empty makes a machine that knows nothing of charts.
func empty() (*machine, error) {
	m := &machine{runtime: quickjs.NewRuntime(quickjs.WithMemoryLimit(memoryLimit), quickjs.WithGCThreshold(collectedFrom), quickjs.WithMaxStackSize(stackLimit), quickjs.WithStrictOSThread(true))}
	m.context = m.runtime.NewBareContext()
	if m.context == nil {
		m.runtime.Close()
		return nil, errors.New("start the interpreter of the chart library")
	}
	m.limit = limit
	m.runtime.SetInterruptHandler(func() int {
		if !m.until.IsZero() && time.Now().After(m.until) {
			return 1
		}
		return 0
	})
	return m, nil
}

func (m *machine) load(library library) error {
	if err := m.run(stubs); err != nil {
		return err
	}
	if library.code == nil {
		// Handed over as a text, the library is read once; as a program, it would be
		// read twice, to see whether it is a module.
		if err := m.run(library.text); err != nil {
			return err
		}
	} else if err := m.runCode(library.code); err != nil {
		return err
	}
	m.draw = m.context.Eval(draw)
	if m.draw.IsException() {
		return m.context.Exception()
	}
	m.write = m.context.NewFunction(func(c *quickjs.Context, _ *quickjs.Value, args []*quickjs.Value) *quickjs.Value {
		if len(args) == 0 {
			return c.NewString("")
		}
		return c.NewString(m.written(args[0].ToFloat64()))
	})
	return nil
}

// runCode runs the interpreter's own code for what it leaves behind.
func (m *machine) runCode(code []byte) error {
	out := m.context.EvalBytecode(code)
	defer out.Free()
	if out.IsException() {
		return m.context.Exception()
	}
	return nil
}

// run runs a text for what it leaves behind.
func (m *machine) run(text string) error {
	eval := m.context.Eval("(0, eval)")
	defer eval.Free()
	none, code := m.context.NewUndefined(), m.context.NewString(text)
	defer code.Free()
	out := eval.Execute(none, code)
	defer out.Free()
	if out.IsException() {
		return m.context.Exception()
	}
	return nil
}

func (m *machine) svg(one order) (string, error) {
	m.written, m.until = one.write, time.Now().Add(m.limit)
	option := m.context.NewString(one.option)
	defer option.Free()
	out := m.draw.Execute(m.context.NewUndefined(), option, m.context.NewInt32(int32(one.width)), m.context.NewInt32(int32(one.height)), m.write)
	defer out.Free()
	switch {
	case out.IsException() && time.Now().After(m.until):
		return "", errors.New("the drawing took over " + m.limit.String())
	case out.IsException():
		return "", m.context.Exception()
	case !out.IsString():
		return "", errors.New("the chart library gave no drawing")
	}
	return out.String(), nil
}

// close gives the machine's memory back.
func (m *machine) close() {
	for _, v := range []*quickjs.Value{m.draw, m.write} {
		if v != nil {
			v.Free()
		}
	}
	m.context.Close()
	m.runtime.Close()
}
