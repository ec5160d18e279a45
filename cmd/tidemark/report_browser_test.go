package main

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"tidemark/cmd/tidemark/tour"
)

// testAll makes what can not be had from outside a failure: set where it was
// installed for the tests. Without it this one says that it did not run, so that
// the tests pass on a machine that has nothing but Go.
const testAll = "TIDEMARK_TEST_ALL"

// shotsTo names a folder that gets pictures of the page, to be looked at.
const shotsTo = "TIDEMARK_REPORT_SHOTS"

// findBrowser is the path of a Chromium.
func findBrowser(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome", "headless-shell"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv(testAll) != "" {
		t.Fatalf("no Chromium in the path, and %s is set", testAll)
	}
	t.Skipf("browser test not run: no Chromium in the path (with %s=1 that is a failure)", testAll)
	return ""
}

// browser is a fresh one without memory that talks to nobody of its own accord.
func browser(t *testing.T) context.Context {
	t.Helper()
	o := append([]chromedp.ExecAllocatorOption{}, chromedp.DefaultExecAllocatorOptions[:]...)
	o = append(o,
		chromedp.ExecPath(findBrowser(t)), chromedp.UserDataDir(t.TempDir()),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.WSURLReadTimeout(time.Minute),
	)
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), o...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 8*time.Minute) // a browser that hangs must not hang the tests
	t.Cleanup(cancel)
	return ctx
}

// watcher writes down what a page says and asks for.
type watcher struct {
	sync.Mutex
	said, asked []string
}

func watch(t *testing.T, ctx context.Context) *watcher {
	w := &watcher{}
	err := chromedp.Listen(ctx, func(event any) {
		w.Lock()
		defer w.Unlock()
		switch e := event.(type) {
		case *runtime.EventConsoleAPICalled:
			w.said = append(w.said, fmt.Sprint(e.Type))
		case *runtime.EventExceptionThrown:
			w.said = append(w.said, e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			w.said = append(w.said, e.Entry.Text)
		case *network.EventRequestWillBeSent:
			w.asked = append(w.asked, e.Request.URL)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

//go:embed testdata/page.js
var pageScript string

// pageFacts is what testdata/page.js finds out about the page.
type pageFacts struct {
	Charts   []chartFacts
	Texts    int
	Faint    []string // texts below the contrast that their size needs
	Colours  int      // different colours of text
	Wide     float64  // how far the page is wider than the window, pixels
	Outside  []string // what sticks out of the window
	Small    []string // text too small to be read
	Problems []string // of structure
	Scripts  int
}

type chartFacts struct {
	ID            string
	Name          string
	Width, Height float64
	TableRows     int
}

func factsOf(t *testing.T, ctx context.Context) pageFacts {
	t.Helper()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](pageScript))
	if err != nil {
		t.Fatal(err)
	}
	var f pageFacts
	if err := json.Unmarshal([]byte(text), &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// tourPage is the example's report in a file, with everything that there is to
// show.
func reportPage(t *testing.T, book string, args ...string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "report.html")
	code, _, stderr := tidemark(t, append([]string{"report", "--logbook", book, "--output", name}, args...)...)
	if code != exitDone {
		t.Fatalf("report: exit code %d: %s", code, stderr)
	}
	return name
}

// show sets the window's size, what it is shown on, and whether that is dark.
func show(t *testing.T, ctx context.Context, medium, scheme string, width int64) {
	t.Helper()
	err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900))
	if err == nil {
		_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Media: medium, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
	}
	if err != nil {
		t.Fatal(err)
	}
}

// The page is opened as a reader would open it. Contrast is that of WCAG 2.1,
// success criterion 1.4.3: 4.5:1, and 3:1 for large text; from memory.
func TestReportInBrowser(t *testing.T) {
	ctx := browser(t)
	book := tourLogbook(t, tour.Options{Seed: tour.DefaultSeed, Size: tour.Small}, tour.Nights)
	needs := filepath.Join(t.TempDir(), "needs.toml")
	if err := os.WriteFile(needs, []byte(exampleNeeds), 0o600); err != nil {
		t.Fatal(err)
	}
	file := reportPage(t, book, "--needs", needs)
	w := watch(t, ctx)
	address := "file://" + filepath.ToSlash(file)
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Do(ctx, chromedp.Navigate(address), chromedp.WaitReady("footer")); err != nil {
		t.Fatal(err)
	}

	for _, scheme := range []string{"light", "dark"} {
		colours := 0
		for _, width := range []int64{360, 820, 1280} {
			t.Run(fmt.Sprintf("%s-%d", scheme, width), func(t *testing.T) {
				show(t, ctx, "screen", scheme, width)
				f := factsOf(t, ctx)
				checkPage(t, f)
				colours = f.Colours
				shoot(t, ctx, fmt.Sprintf("%s-%d.png", scheme, width))
			})
		}
		if colours < 3 {
			t.Errorf("%s: only %d colours of text were measured", scheme, colours)
		}
	}

	t.Run("print", func(t *testing.T) { checkPrint(t, ctx) })

	w.Lock()
	defer w.Unlock()
	if len(w.said) > 0 {
		t.Errorf("the console has messages: %q", w.said)
	}
	for _, url := range w.asked {
		if url != address && !strings.HasPrefix(url, "data:,") {
			t.Errorf("a request left the page: %s", url)
		}
	}
	if len(w.asked) == 0 {
		t.Error("no request was seen at all: the check does not see")
	}
}

func checkPage(t *testing.T, f pageFacts) {
	t.Helper()
	if f.Texts < 300 {
		t.Errorf("only %d texts were measured", f.Texts)
	}
	for _, list := range []struct {
		what string
		has  []string
	}{
		{"too little contrast", f.Faint}, {"outside the window", f.Outside}, {"too small", f.Small}, {"structure", f.Problems},
	} {
		for _, one := range list.has[:min(len(list.has), 10)] {
			t.Errorf("%s: %s", list.what, one)
		}
	}
	if f.Wide > 0 {
		t.Errorf("the page is %g pixels wider than the window", f.Wide)
	}
	if f.Scripts != 0 {
		t.Errorf("%d scripts", f.Scripts)
	}
	has := map[string]bool{}
	for _, c := range f.Charts {
		has[c.ID] = true
		if c.Height < 60 || c.Width < 200 {
			t.Errorf("chart %s is %g × %g pixels", c.ID, c.Width, c.Height)
		}
		if len(c.Name) < 10 {
			t.Errorf("chart %s has the name %q", c.ID, c.Name)
		}
		if c.TableRows < 2 {
			t.Errorf("chart %s has a twin of %d rows", c.ID, c.TableRows)
		}
	}
	for _, id := range []string{"way-chart", "nights-chart", "change-chart", "curve-chart", "curve-night", "line-1", "keep-chart"} {
		if !has[id] {
			t.Errorf("there is no chart %s", id)
		}
	}
}

// checkPrint prints to PDF, and lays the page out as the paper has it to see
// that no picture is higher or wider than a sheet.
func checkPrint(t *testing.T, ctx context.Context) {
	const dpi, width, height = 96.0, 8.27, 11.69 // A4, inches
	const side, top, bottom = 15 / 25.4, 16 / 25.4, 18 / 25.4
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	if len(pdf) < 10_000 || string(pdf[:5]) != "%PDF-" {
		t.Errorf("the print is %d bytes, beginning %q", len(pdf), pdf[:min(len(pdf), 8)])
	}
	if to := os.Getenv(shotsTo); to != "" {
		if err := os.WriteFile(filepath.Join(to, "report.pdf"), pdf, 0o600); err != nil {
			t.Error(err)
		}
	}
	inner := int64(math.Floor((width - 2*side) * dpi))
	show(t, ctx, "print", "dark", inner) // paper is white whatever the screen is
	f := factsOf(t, ctx)
	if f.Wide > 0 || len(f.Outside) > 0 {
		t.Errorf("on paper the page is %g pixels too wide: %q", f.Wide, f.Outside)
	}
	for _, c := range f.Charts {
		if c.Height > (height-top-bottom)*dpi || c.Width > float64(inner) || c.Height < 60 {
			t.Errorf("on paper chart %s is %g × %g pixels, of a sheet's %d × %g", c.ID, c.Width, c.Height, inner, math.Floor((height-top-bottom)*dpi))
		}
	}
	for _, one := range f.Faint {
		t.Errorf("too little contrast on paper: %s", one)
	}
	avoided, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`[...document.querySelectorAll('figure')].every(f => getComputedStyle(f).breakInside === 'avoid')`))
	if err != nil {
		t.Fatal(err)
	}
	if !avoided {
		t.Error("a chart may be cut by the end of a sheet")
	}
}

func shoot(t *testing.T, ctx context.Context, name string) {
	to := os.Getenv(shotsTo)
	if to == "" {
		return
	}
	shot, err := chromedp.Run(ctx, chromedp.FullScreenshot(100)) // a PNG
	if err == nil {
		err = os.WriteFile(filepath.Join(to, name), shot, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}
