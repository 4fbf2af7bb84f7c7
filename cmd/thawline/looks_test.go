package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	paint "image/draw"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"thawline/internal/invent"
)

// looks are hospitals whose packs look unlike the demonstration's: what is small,
// empty, missing or many there is what a page is seldom drawn with.
var looks = []struct {
	name, period string
	options      invent.Options
	// feeds are all that the site has; the demonstration's where empty.
	feeds []string
}{
	{"demo", demoMonth, invent.Options{}, nil},
	{"tiny", demoMonth, invent.Options{Beds: 40, Episodes: 9, Labs: 4800}, nil},
	{"first-month", demoMonth, invent.Options{Months: 1, Beds: 40, Episodes: 9, Labs: 200}, nil},
	{"empty-month", demoMonth, invent.Options{Months: 14, Labs: 14_000, NoPlasmaAtEnd: true}, nil},
	{"unread-month", "2026-11", invent.Options{Months: 14, Labs: 14_000}, nil},
	{"no-events", demoMonth, invent.Options{Months: 14, Labs: 14_000, NoEvents: true}, nil},
	{"two-feeds", demoMonth, invent.Options{Months: 14, Labs: 14_000}, []string{"issues", "labs"}},
	{"forty-places", demoMonth, invent.Options{Months: 14, Labs: 14_000, Places: 40, Scale: 3, Beds: 900}, nil},
}

// feedForm is a feed of site.yaml.
var feedForm = regexp.MustCompile(`(?m)^  - table: (\w+)[^\n]*\n(?:    [^\n]*\n)*`)

// keepFeeds leaves of a site's feeds only those named.
func keepFeeds(t *testing.T, site string, feeds []string) {
	t.Helper()
	text := feedForm.ReplaceAllStringFunc(readFile(t, site), func(feed string) string {
		if slices.Contains(feeds, feedForm.FindStringSubmatch(feed)[1]) {
			return feed
		}
		return ""
	})
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// lookedAt makes the hospital in dir, and its packs of the month before and of the
// period.
func lookedAt(t *testing.T, dir, period string, options invent.Options, feeds []string) (site string) {
	t.Helper()
	if _, err := invent.Write(dir, 1, options); err != nil {
		t.Fatal(err)
	}
	site = filepath.Join(dir, "site.yaml")
	if len(feeds) > 0 {
		keepFeeds(t, site, feeds)
	}
	commands := [][]string{{"audit", "--period", demoMonthBefore, "--today", "2026-10-06"}, {"report", "--period", period, "--today", "2026-12-05"}}
	if options.Months == 1 {
		commands = [][]string{{"audit", "--period", period, "--today", "2026-12-05"}}
	}
	for _, command := range commands {
		var out, errOut bytes.Buffer
		if code := run(context.Background(), append(command, "--site", site), &out, &errOut); code != exitDone && code != exitIncomplete {
			t.Fatalf("%v: exit %d\n%s", command, code, errOut.String())
		}
	}
	return site
}

// TestLooks makes pictures for a person to look at: with THAWLINE_LOOKS=DIR (make
// looks) every page of every hospital of looks at each width, and the pages it
// prints. THAWLINE_LOOKS_OF=NAME,NAME makes those hospitals alone.
func TestLooks(t *testing.T) {
	into, only := os.Getenv("THAWLINE_LOOKS"), os.Getenv("THAWLINE_LOOKS_OF")
	if into == "" {
		t.Skip("make looks makes the pictures")
	}
	for _, one := range looks {
		if only != "" && !slices.Contains(strings.Split(only, ","), one.name) {
			continue
		}
		t.Run(one.name, func(t *testing.T) {
			folder, err := filepath.Abs(filepath.Join(into, one.name))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.RemoveAll(folder); err != nil {
				t.Fatal(err)
			}
			site := lookedAt(t, filepath.Join(folder, "hospital"), one.period, one.options, one.feeds)
			for name, path := range packPages(site, one.period) {
				for _, width := range widths {
					b := open(t, path, width)
					b.keepSheets(filepath.Join(folder, fmt.Sprintf("%s-%d", name, width)), b.columns(width))
				}
				b := open(t, path, widths[0])
				b.keepSheets(filepath.Join(folder, name+"-printed"), b.printed(filepath.Join(folder, name+".pdf")))
			}
		})
	}
}

// A sheet is so large that its text is legible when it is looked at whole.
const sheetWidth, sheetHeight = 1860, 1400

// columns are pictures of the page from its top to its end, none higher than a
// sheet, cut between panels where they can be.
func (b *tab) columns(width int64) (all []image.Image) {
	b.t.Helper()
	b.must(chromedp.Do(b.ctx, chromedp.EmulateViewport(width, sheetHeight)))
	ends := eval[[]float64](b, `[...document.querySelectorAll('body > *, main > section > *, #cases > *')].map(e => e.getBoundingClientRect().bottom + scrollY).sort((a, b) => a - b)`)
	last := eval[float64](b, `document.documentElement.scrollHeight`)
	for top := 0.0; top < last; {
		end := min(top+sheetHeight, last)
		for i := len(ends) - 1; i >= 0 && end < last; i-- {
			if ends[i] <= top+sheetHeight && ends[i] > top+sheetHeight/3 {
				end = math.Ceil(ends[i])
				break
			}
		}
		// A picture of what is in view is much faster than one of a part beyond it.
		at := top - eval[float64](b, fmt.Sprintf(`(scrollTo(0, %f), scrollY)`, top))
		fast := true
		shot, err := chromedp.Call(b.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{OptimizeForSpeed: &fast})
		b.must(err)
		picture, err := png.Decode(bytes.NewReader(shot.Data))
		b.must(err)
		cut := image.NewRGBA(image.Rect(0, 0, int(width), int(end-top)))
		paint.Draw(cut, cut.Bounds(), picture, image.Point{Y: int(at)}, paint.Src)
		all = append(all, cut)
		top = end
	}
	return all
}

// printed prints the page into a file and returns a picture of each of its pages;
// none where pdftoppm (Debian: poppler-utils) is missing.
func (b *tab) printed(path string) (all []image.Image) {
	b.t.Helper()
	yes := true
	printed, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &yes, PrintBackground: &yes})
	b.must(err)
	b.must(os.WriteFile(path, printed.Data, 0o600))
	program, err := exec.LookPath("pdftoppm")
	if err != nil {
		b.t.Logf("%s is not turned into pictures: %v", path, err)
		return nil
	}
	pages := b.t.TempDir()
	b.must(exec.Command(program, "-png", "-r", "110", path, filepath.Join(pages, "page")).Run())
	names, err := filepath.Glob(filepath.Join(pages, "*.png"))
	b.must(err)
	for _, name := range names {
		file, err := os.Open(name)
		b.must(err)
		picture, err := png.Decode(file)
		b.must(err)
		file.Close()
		all = append(all, picture)
	}
	return all
}

// keepSheets lays pictures side by side on sheets, as many as fit, and keeps them
// as name-01.png and so on.
func (b *tab) keepSheets(name string, pictures []image.Image) {
	b.t.Helper()
	const gap = 10
	for n := 1; len(pictures) > 0; n++ {
		size, fit := image.Point{}, 0
		for fit < len(pictures) && (fit == 0 || size.X+pictures[fit].Bounds().Dx() <= sheetWidth) {
			size.X, size.Y = size.X+pictures[fit].Bounds().Dx()+gap, max(size.Y, pictures[fit].Bounds().Dy())
			fit++
		}
		sheet := image.NewRGBA(image.Rectangle{Max: size})
		paint.Draw(sheet, sheet.Bounds(), image.NewUniform(color.Gray{Y: 90}), image.Point{}, paint.Src)
		x := 0
		for _, picture := range pictures[:fit] {
			paint.Draw(sheet, picture.Bounds().Add(image.Point{X: x}), picture, picture.Bounds().Min, paint.Src)
			x += picture.Bounds().Dx() + gap
		}
		pictures = pictures[fit:]
		var out bytes.Buffer
		b.must(png.Encode(&out, sheet))
		b.must(os.WriteFile(fmt.Sprintf("%s-%02d.png", name, n), out.Bytes(), 0o600))
	}
}
