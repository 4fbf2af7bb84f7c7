package chart

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"
)

func machineOf(t *testing.T, text string) *machine {
	t.Helper()
	runtime.LockOSThread()
	t.Cleanup(runtime.UnlockOSThread)
	m, err := start(library{text: text})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(m.close)
	return m
}

// A library that only tells what it was given stands for the real one.
const telling = `var echarts = { init: function () { return { setOption: function (o) { this.o = o; }, renderToSVGString: function () { return String((0, eval)(this.o.run)); }, dispose: function () {} }; } };`

// TestMachineHasNoWayOut: what runs in a machine finds no file, no network, no
// clock that waits and no lot that is drawn.
func TestMachineHasNoWayOut(t *testing.T) {
	m := machineOf(t, telling)
	for run, wanted := range map[string]string{
		"1 + 1": "2",
		"[typeof std, typeof os, typeof bjson, typeof require, typeof process, typeof fetch, typeof XMLHttpRequest, typeof Worker, typeof scriptArgs, typeof loadScript].join()": strings.Repeat("undefined,", 9) + "undefined",
		"setTimeout(function () { throw 1; }, 0)": "0",
		"Math.random() + Math.random()":           "1",
	} {
		got, err := m.svg(order{option: `{"run": ` + quoted(run) + `}`})
		if err != nil || got != wanted {
			t.Errorf("%s gave %q (%v), wanted %q", run, got, err, wanted)
		}
	}
	m = machineOf(t, telling)
	got, err := m.svg(order{option: `{"run": "import('os').then(function () { globalThis.found = 1; }, function () { globalThis.found = 2; }); typeof found"}`})
	if err != nil || got != "undefined" {
		t.Errorf("the module os: %q, %v", got, err)
	}
}

func quoted(s string) string { return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"` }

// TestMachineIsStopped: a drawing that has no end is ended, and says so; a library
// that is none is an error.
func TestMachineIsStopped(t *testing.T) {
	m := machineOf(t, telling)
	m.limit = 200 * time.Millisecond
	begun := time.Now()
	_, err := m.svg(order{option: `{"run": "for (;;) {}"}`})
	if err == nil || !strings.Contains(err.Error(), "took over 200ms") {
		t.Errorf("a drawing without end: %v", err)
	}
	if took := time.Since(begun); took > 10*time.Second {
		t.Errorf("it was stopped after %v", took)
	}
	m = machineOf(t, telling)
	if _, err := m.svg(order{option: `{"run": "(function f() { return f() + 1; })()"}`}); err == nil {
		t.Error("a call without end is drawn")
	}
	m = machineOf(t, telling)
	if _, err := m.svg(order{option: `{"run": "var a = []; for (;;) { a.push(new Array(100000).fill(1)); }"}`}); err == nil {
		t.Error("all the memory there is may be taken")
	}
	if _, err := start(library{text: "var x = ;"}); err == nil {
		t.Error("a library that cannot be read starts")
	}
}

// TestCompiledDrawsTheSame: the code that `make assets` built in is there, is made
// alike each time, and draws what the text draws; of another version it is not run.
func TestCompiledDrawsTheSame(t *testing.T) {
	both, err := readLibrary()
	if err != nil {
		t.Fatal(err)
	}
	if both.code == nil {
		t.Fatal("the chart library was not compiled, or for another interpreter: run make assets")
	}
	again, err := Compile([]byte(both.text))
	if err != nil {
		t.Fatal(err)
	}
	if string(codeOf(again)) != string(both.code) {
		t.Error("compiled again, the library is other code")
	}
	if codeOf([]byte(strings.Replace(string(again), " v", " v9", 1))) != nil {
		t.Error("code of another version is run")
	}
	modules, err := os.ReadFile("../../go.mod")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(modules), "\t"+interpreter+"\n") {
		t.Errorf("go.mod names another version than %s: change it in library.go, and run make assets", interpreter)
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	var drawings []string
	for _, one := range []library{{text: both.text}, both} {
		m, err := start(one)
		if err != nil {
			t.Fatal(err)
		}
		svg, err := m.svg(order{option: `{"xAxis": {"type": "category", "data": ["a", "b"]}, "yAxis": {}, "series": [{"type": "bar", "data": [1, 2]}, {"type": "boxplot", "data": [[1, 2, 3, 4, 5]]}]}`, width: 300, height: 200, write: func(x float64) string { return fmt.Sprint(x) }})
		if err != nil {
			t.Fatal(err)
		}
		drawings = append(drawings, svg)
		m.close()
	}
	if drawings[0] != drawings[1] || !strings.HasPrefix(drawings[0], "<svg") {
		t.Error("the code draws otherwise than the text")
	}
}

// TestMachineAfterAFault: a chart that cannot be drawn leaves the others as they
// are.
func TestMachineAfterAFault(t *testing.T) {
	r, err := with(1)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	f, p := bar("label")
	whole, err := drawnBy(r, f, p, Look{ID: "x"})
	if err != nil {
		t.Fatal(err)
	}
	// A writer of numbers that the library cannot call.
	if _, err := r.svg(map[string]any{"xAxis": map[string]any{"type": "value", "axisLabel": map[string]any{"formatter": 7}}, "yAxis": map[string]any{}, "series": []any{map[string]any{"type": "bar", "data": []any{1}}}}, 300, 200, func(float64) string { return "" }); err == nil {
		t.Error("a formatter that is no text is taken")
	}
	if again, err := drawnBy(r, f, p, Look{ID: "x"}); err != nil || again != whole {
		t.Errorf("after a fault a chart is drawn otherwise (%v)", err)
	}
}

// TestClosedWhileDrawing: what is on its way when the library is let go ends, with
// a drawing or an error, and so does what comes after.
func TestClosedWhileDrawing(t *testing.T) {
	r, err := New()
	if err != nil {
		t.Fatal(err)
	}
	f, p := bar("label")
	ended := make(chan error, 9)
	for range 8 {
		go func() {
			_, err := drawnBy(r, f, p, Look{ID: "x"})
			ended <- err
		}()
	}
	r.Close()
	_, err = drawnBy(r, f, p, Look{ID: "x"})
	ended <- err
	for range 9 {
		select {
		case err := <-ended:
			if err != nil && !strings.Contains(err.Error(), "let go") {
				t.Error(err)
			}
		case <-time.After(2 * time.Minute):
			t.Fatal("a drawing neither ends nor fails")
		}
	}
}
