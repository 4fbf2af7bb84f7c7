package main

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// chrome is one headless browser for all tests of this package; each page opens
// in a tab of its own.
var chrome = sync.OnceValues(func() (context.Context, error) {
	program := os.Getenv("THAWLINE_BROWSER")
	if program == "" {
		program, _ = exec.LookPath("chromium")
	}
	if program == "" {
		return nil, fmt.Errorf("no browser: make browser installs one, or name it in THAWLINE_BROWSER")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.WindowSize(1280, 900))
	allocated, _ := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, stop := chromedp.NewContext(allocated)
	stopBrowser = stop
	return ctx, chromedp.Do(ctx)
})

// stopBrowser ends the browser, where one was started; TestMain calls it.
var stopBrowser = func() {}

// tab is a page that is open in the browser, with all that it did from its first
// byte on.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu sync.Mutex
	// said is what stands on the console: errors, warnings, messages of the
	// browser (a refused script is one), exceptions, dialogs.
	said []string
	// asked are the addresses that the page asked for, itself left out.
	asked []string
}

// open opens the file at path, width pixels wide.
func open(t *testing.T, path string, width int64) *tab {
	t.Helper()
	if testing.Short() {
		t.Skip("needs a browser")
	}
	parent, err := chrome()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(parent)
	t.Cleanup(cancel)
	ctx, cancelTime := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(cancelTime)
	b := &tab{t: t, ctx: ctx}
	b.must(chromedp.Do(ctx))
	address := (&url.URL{Scheme: "file", Path: path}).String()
	b.must(chromedp.Listen(ctx, func(event any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := event.(type) {
		case *log.EventEntryAdded:
			b.said = append(b.said, fmt.Sprintf("%s: %s", e.Entry.Level, e.Entry.Text))
		case *runtime.EventConsoleAPICalled:
			b.said = append(b.said, fmt.Sprintf("console.%s", e.Type))
		case *runtime.EventExceptionThrown:
			b.said = append(b.said, "exception: "+e.ExceptionDetails.Text)
		case *page.EventJavascriptDialogOpening:
			b.said = append(b.said, "dialog: "+e.Message)
		case *network.EventRequestWillBeSent:
			if e.Request.URL != address && !strings.HasPrefix(e.Request.URL, "data:") {
				b.asked = append(b.asked, e.Request.URL)
			}
		}
	}))
	for _, domain := range []cdp.Command[cdp.Empty, cdp.Empty]{log.Enable, runtime.Enable} {
		_, err := chromedp.Call(ctx, domain, cdp.Empty{})
		b.must(err)
	}
	_, err = chromedp.Call(ctx, network.Enable, network.EnableParams{})
	b.must(err)
	b.must(chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate(address)))
	// A picture that cannot be had, or a handler, has had its turn by then.
	b.must(chromedp.Do(ctx, chromedp.Sleep(100*time.Millisecond)))
	return b
}

func (b *tab) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// quiet fails the test where the page said anything or asked for anything.
func (b *tab) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, one := range b.said {
		b.t.Errorf("on the console: %s", one)
	}
	for _, one := range b.asked {
		b.t.Errorf("the page asks for %s", one)
	}
}

// press presses keys one after the other, as a person does.
func (b *tab) press(keys ...string) {
	b.t.Helper()
	for _, key := range keys {
		b.must(chromedp.Do(b.ctx, chromedp.KeyEvent(key)))
	}
}

// tabTo presses Tab until the element in focus is one that selector matches and
// returns false after limit presses.
func (b *tab) tabTo(selector string, limit int, with ...chromedp.KeyOption) bool {
	b.t.Helper()
	for range limit {
		b.must(chromedp.Do(b.ctx, chromedp.KeyEvent(kb.Tab, with...)))
		if eval[bool](b, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
			return true
		}
	}
	return false
}

// eval asks the page. The browser's own protocol is not bound by the page's
// content security policy, which stays in force for all that the page holds.
func eval[T any](b *tab, script string) T {
	b.t.Helper()
	got, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%v\nin %.300s", err, script)
	}
	return got
}

// asPrinted lets the page look as it would on paper.
func (b *tab) asPrinted() {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	b.must(err)
}

// keepShot keeps a picture of the whole page where THAWLINE_SHOTS names a folder.
func (b *tab) keepShot(name string) {
	b.t.Helper()
	folder := os.Getenv("THAWLINE_SHOTS")
	if folder == "" {
		return
	}
	picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	b.must(err)
	b.must(os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o600))
}

// pageOf writes a page into a file of its own and returns its path.
func pageOf(t *testing.T, html string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(path, []byte("<!doctype html>"+html), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
