package browsertest

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
)

//go:embed testdata/audit.js
var auditScript string

//go:embed testdata/stops.js
var stopsScript string

//go:embed testdata/focus.js
var focusScript string

// patience is for a machine that does other things, too.
const patience = 2 * time.Minute

// findChromium names the browser, or skips where there is none.
func findChromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); name != "" && err == nil {
			return path
		}
	}
	if os.Getenv("CI") != "" {
		t.Fatal("there is no chromium: apt-get install chromium")
	}
	t.Skip("the pages were not looked at: there is no chromium; apt-get install chromium, or name one in CHROMIUM")
	return ""
}

// newBrowser starts a browser that ends with the test.
func newBrowser(t *testing.T) context.Context {
	t.Helper()
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]),
		chromedp.ExecPath(findChromium(t)), chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(patience),
		chromedp.NoSandbox, // a container's root has none; only our own pages are opened
		chromedp.Flag("disable-features", "MediaRouter,OptimizationHints"), chromedp.Flag("force-color-profile", "srgb"),
	)
	ctx, cancel := chromedp.NewExecAllocator(context.WithoutCancel(t.Context()), options...)
	t.Cleanup(cancel)
	browser, closeIt := chromedp.NewContext(ctx)
	t.Cleanup(closeIt)
	if err := chromedp.Do(browser); err != nil {
		t.Fatalf("start the browser: %v", err)
	}
	return browser
}

// tab is one page of the browser, with what it complained of and asked for.
type tab struct {
	t    *testing.T
	ctx  context.Context
	host string

	mu      sync.Mutex
	wrong   []string
	asked   []string
	allowed []string // complaints that are meant, by a part of them
}

// newTab opens a tab with cookies of its own.
func newTab(t *testing.T, browser context.Context, o *office) *tab {
	t.Helper()
	ctx, closeIt := chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
	t.Cleanup(closeIt)
	ctx, cancel := context.WithTimeout(ctx, patience)
	t.Cleanup(cancel)
	u, err := url.Parse(o.url)
	if err != nil {
		t.Fatal(err)
	}
	b := &tab{t: t, ctx: ctx, host: u.Host}
	if err := chromedp.Listen(ctx, b.listen); err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	call(b, network.Enable, network.EnableParams{})
	call(b, runtime.Enable, cdp.Empty{})
	call(b, log.Enable, cdp.Empty{})
	return b
}

func (b *tab) listen(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			b.wrong = append(b.wrong, fmt.Sprintf("console: %v", e.Args))
		}
	case *runtime.EventExceptionThrown:
		b.wrong = append(b.wrong, "exception: "+e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			b.wrong = append(b.wrong, "log: "+e.Entry.Text+" "+e.Entry.URL)
		}
	case *network.EventRequestWillBeSent:
		b.asked = append(b.asked, e.Request.URL)
	}
}

// quiet demands that the tab complained of nothing and asked nothing of another host.
func (b *tab) quiet() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range b.wrong {
		if !slices.ContainsFunc(b.allowed, func(part string) bool { return strings.Contains(w, part) }) {
			b.t.Errorf("the browser complains: %s", w)
		}
	}
	if len(b.asked) == 0 {
		b.t.Error("no request was seen")
	}
	for _, asked := range b.asked {
		if u, err := url.Parse(asked); err != nil || u.Host != b.host && u.Scheme != "data" { // data: the browser's own, as a calendar
			b.t.Errorf("a request leaves the host: %s", asked)
		}
	}
	b.wrong = nil
}

func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// ask does one action and gives what comes of it.
func ask[T any](b *tab, action chromedp.Action[T]) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, action)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

// call sends one command of the protocol.
func call[P, R any](b *tab, command cdp.Command[P, R], params P) R {
	b.t.Helper()
	r, err := chromedp.Call(b.ctx, command, params)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (b *tab) open(address string) {
	b.t.Helper()
	b.do(chromedp.Navigate(address), chromedp.WaitReady("main"))
}

// as gives the window a size and the page a scheme of colours.
func (b *tab) as(width int64, scheme string) {
	b.t.Helper()
	call(b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1})
	call(b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

// audit looks through the page.
func (b *tab) audit() {
	b.t.Helper()
	for i, f := range ask(b, chromedp.Evaluate[[]string](auditScript)) {
		if i == 15 {
			b.t.Error("and more")
			break
		}
		b.t.Error(f)
	}
}

// mostPictured is how much of a long page is kept, px.
const mostPictured = 4000

// picture keeps a picture of the page.
func (b *tab) picture(name string) {
	b.t.Helper()
	size := call(b, page.GetLayoutMetrics, cdp.Empty{}).CSSContentSize
	png := call(b, page.CaptureScreenshot, page.CaptureScreenshotParams{
		CaptureBeyondViewport: new(true), Clip: &page.Viewport{Width: size.Width, Height: min(size.Height, mostPictured), Scale: 1},
	}).Data
	b.keep(name+".png", png)
}

// printed keeps what a printer would get.
func (b *tab) printed(name string) {
	b.t.Helper()
	pdf := ask(b, chromedp.PrintToPDF())
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		b.t.Errorf("%s is not printed as PDF: %.20q", name, pdf)
	}
	b.keep(name+".pdf", pdf)
}

func (b *tab) keep(name string, picture []byte) {
	b.t.Helper()
	folder := filepath.Join("..", "..", "..", "bin", "screenshots")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name), picture, 0o644); err != nil {
		b.t.Fatal(err)
	}
	if len(picture) < 5000 {
		b.t.Errorf("the picture %s has %d bytes: there is nothing on it", name, len(picture))
	}
}

// signIn signs in by the form, by the keyboard alone.
func (b *tab) signIn(o *office, key string) {
	b.t.Helper()
	b.open(o.url + "/board")
	b.do(chromedp.WaitVisible("#key"), chromedp.Focus("#key"), chromedp.KeyEvent(key), chromedp.KeyEvent("\r"), chromedp.WaitVisible(`header nav`))
}

// cookies gives the browser's cookies by name.
func (b *tab) cookies(of string) map[string]*network.Cookie {
	b.t.Helper()
	list := map[string]*network.Cookie{}
	for _, c := range call(b, network.GetCookies, network.GetCookiesParams{URLs: []string{of}}).Cookies {
		list[c.Name] = c
	}
	return list
}

// withKey sends the office's key with every request, as who may read the API itself does.
func (b *tab) withKey(o *office) {
	b.t.Helper()
	call(b, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: network.Headers{"Authorization": "Bearer " + o.key.Reveal()}})
}
