package main

import (
	"context"
	"image/png"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// browser starts the headless browser that the Makefile names, with a profile
// of its own and a record of every network request.
func browser(t *testing.T, page string, args ...string) (netlog string) {
	t.Helper()
	program := os.Getenv("THAWLINE_BROWSER")
	if program == "" {
		program, _ = exec.LookPath("chromium")
	}
	if program == "" {
		t.Fatal("no browser: make browser installs one, or name it in THAWLINE_BROWSER")
	}
	profile := t.TempDir()
	log := filepath.Join(profile, "net.json")
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	all := append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--disable-default-apps", "--user-data-dir=" + profile, "--log-net-log=" + log}, args...)
	said, err := exec.CommandContext(ctx, program, append(all, page)...).CombinedOutput()
	if err != nil {
		t.Fatalf("browser: %v\n%s", err, said)
	}
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// asked lists the hosts that a page asked the network for. The browser's own
// calls home (updates, clock, accounts) are not the page's.
func asked(netlog string) []string {
	var hosts []string
	for _, m := range regexp.MustCompile(`"url":"([^"]+)"`).FindAllStringSubmatch(netlog, -1) {
		u, err := url.Parse(m[1])
		if err != nil || (u.Scheme != "http" && u.Scheme != "https" && u.Scheme != "ws" && u.Scheme != "wss") {
			continue
		}
		if h := u.Hostname(); strings.HasSuffix(h, ".google.com") || strings.HasSuffix(h, ".googleapis.com") || strings.HasSuffix(h, ".gvt1.com") {
			continue
		}
		hosts = append(hosts, u.Host)
	}
	return hosts
}

func TestPackInBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("needs a browser")
	}
	site := demoSite(t)
	folder := filepath.Join(filepath.Dir(site), "store", "packs", demoMonth)
	t.Run("the check can fail", func(t *testing.T) {
		page := filepath.Join(t.TempDir(), "page.html")
		os.WriteFile(page, []byte(`<!doctype html><title>x</title><img src="http://pack.invalid/x.png">`), 0o600)
		if len(asked(browser(t, "file://"+page, "--virtual-time-budget=2000", "--dump-dom"))) == 0 {
			t.Error("a page that asks the network is not noticed")
		}
	})
	for _, name := range []string{"committee.html", "cases.html"} {
		for _, width := range []string{"1280", "794"} { // A4 at 96 pixels an inch is 794 wide.
			t.Run(name+" "+width, func(t *testing.T) {
				shot := filepath.Join(t.TempDir(), "shot.png")
				log := browser(t, "file://"+filepath.Join(folder, name), "--virtual-time-budget=2000", "--window-size="+width+",3000", "--screenshot="+shot)
				if hosts := asked(log); len(hosts) > 0 {
					t.Errorf("the page asks the network: %v", hosts)
				}
				file, err := os.Open(shot)
				if err != nil {
					t.Fatal(err)
				}
				defer file.Close()
				picture, err := png.Decode(file)
				if err != nil {
					t.Fatal(err)
				}
				// A page that is blank, or holds nothing but its title, has few colours.
				colours := map[[3]uint32]bool{}
				for y := picture.Bounds().Min.Y; y < picture.Bounds().Max.Y; y += 3 {
					for x := picture.Bounds().Min.X; x < picture.Bounds().Max.X; x += 3 {
						r, g, b, _ := picture.At(x, y).RGBA()
						colours[[3]uint32{r, g, b}] = true
					}
				}
				if len(colours) < 20 {
					t.Errorf("%d colours in the picture: the page is as good as blank", len(colours))
				}
			})
		}
	}
	html := readFile(t, filepath.Join(folder, "committee.html"))
	for what, pattern := range map[string]string{
		"script":           `(?i)<script|javascript:|\son[a-z]+\s*=\s*["']`,
		"another host":     `(?i)(src|href)\s*=\s*["']?(https?:)?//`,
		"an outside style": `(?i)@import|url\(\s*["']?https?:`,
		"foreign markup":   `(?i)<(foreignObject|iframe|object|embed)`,
	} {
		if found := regexp.MustCompile(pattern).FindString(html); found != "" {
			t.Errorf("the committee's pack holds %s: %q", what, found)
		}
	}
	if !strings.Contains(html, "Content-Security-Policy") {
		t.Error("the pack states no content security policy")
	}
}
