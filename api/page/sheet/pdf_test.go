package sheet_test

import (
	"bytes"
	"compress/zlib"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"rideout/api/page/measure"
	"rideout/api/page/sheet"
	"rideout/service/planner"
)

func printed(t *testing.T, k sheet.Kept, paper sheet.Paper) (sheet.Sheet, []byte) {
	t.Helper()
	s := made(t, k)
	body, err := s.PDF(paper)
	if err != nil {
		t.Fatal(err)
	}
	return s, body
}

func TestPDFIsTwoPagesWithItsFonts(t *testing.T) {
	t.Parallel()
	trade := kept(t)
	trade.Units = measure.Trade
	for name, k := range map[string]sheet.Kept{"metric": kept(t), "trade": trade, "little": bare(t)} {
		for size, paper := range map[string]struct {
			sheet.Paper
			box string
		}{"A4": {sheet.A4, "/MediaBox [0 0 595.28 841.89]"}, "Letter": {sheet.Letter, "/MediaBox [0 0 612.00 792.00]"}} {
			s, body := printed(t, k, paper.Paper)
			if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(body, -1)); n != 2 {
				t.Errorf("%s on %s: %d pages, want 2", name, size, n)
			}
			if n := bytes.Count(body, []byte("/FontFile2")); n != 2 {
				t.Errorf("%s on %s: %d fonts are embedded, want 2", name, size, n)
			}
			if bytes.Contains(body, []byte("/Subtype /Image")) {
				t.Errorf("%s on %s has a raster", name, size)
			}
			if !bytes.Contains(body, []byte(paper.box)) {
				t.Errorf("%s on %s lacks %s", name, size, paper.box)
			}
			again, err := s.PDF(paper.Paper)
			if err != nil || !bytes.Equal(body, again) {
				t.Errorf("%s on %s: printed again it differs (%v)", name, size, err)
			}
		}
	}
}

// The text of the PDF holds the plan's figures. pdftotext reads it where it is installed, as a program that is not
// ours; elsewhere a reader of our own, which knows only how this PDF is written.
func TestPDFSaysWhatThePlanSays(t *testing.T) {
	t.Parallel()
	s, body := printed(t, kept(t), sheet.A4)
	texts := map[string]string{"our reader": read(t, body)}
	if _, err := exec.LookPath("pdftotext"); err == nil {
		texts["pdftotext"] = extracted(t, body)
	} else {
		t.Log("pdftotext is not installed: the text was read by the test's own reader alone")
	}
	for reader, text := range texts {
		text = squeezed(text)
		for _, want := range figures(s) {
			if !strings.Contains(text, squeezed(want)) {
				t.Errorf("%s does not find %q", reader, want)
			}
		}
		if n := strings.Count(text, squeezed(s.Deferral)); n != 2 {
			t.Errorf("%s finds the deferral %d times, want once a page", reader, n)
		}
	}
}

// figures is what the paper must say, taken from the plan.
func figures(s sheet.Sheet) []string {
	p, u := s.Subject.Plan, s.Subject.Units
	list := []string{p.VesselName, p.ID, p.InputSHA256, s.Expires, p.Summary, "Page 1 of 2", "Page 2 of 2", "WATCH LOG", p.Crew.Securite, s.Alarm, "canopy " + u.Length(p.Canopy.UsedDiameterM)}
	for _, phase := range p.Phases {
		list = append(list, u.Length(phase.PayOutM), u.Force(phase.Loads.PeakN.Mid), u.Forces(phase.Loads.PeakN), u.Force(phase.Loads.SteadyN.Mid), u.Drift(phase.Loads.DriftKt.Mid))
	}
	for _, hour := range p.Hours {
		list = append(list, hour.Text)
	}
	for _, step := range p.Steps {
		list = append(list, step.Do)
	}
	return append(list, p.Cautions[1:]...)
}

// squeezed leaves out all space: readers differ in where they see it. Text of columns side by side is kept whole by
// reading in the order it was written.
func squeezed(text string) string {
	return strings.Join(strings.FieldsFunc(text, func(r rune) bool { return r <= ' ' || r == '\u00a0' }), "")
}

func extracted(t *testing.T, body []byte) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-raw", "-enc", "UTF-8", file, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	return string(out)
}

// read gathers the strings shown by the pages, in the order they are written.
func read(t *testing.T, body []byte) string {
	t.Helper()
	var text strings.Builder
	for _, content := range contents(body) {
		for _, shown := range regexp.MustCompile(`(?s)\(((?:\\.|[^\\)])*)\) ?Tj`).FindAllSubmatch(content, -1) {
			text.WriteString(decoded(shown[1]) + " ")
		}
	}
	return text.String()
}

// contents gives the streams of a PDF that can be unpacked: pages and fonts.
func contents(body []byte) [][]byte {
	var all [][]byte
	for _, part := range bytes.Split(body, []byte("stream\n"))[1:] {
		reader, err := zlib.NewReader(bytes.NewReader(part))
		if err != nil {
			continue // what follows "endstream"
		}
		if content, err := io.ReadAll(reader); err == nil {
			all = append(all, content)
		}
	}
	return all
}

// decoded reads a PDF string of UTF-16.
func decoded(escaped []byte) string {
	var plain []byte
	for i := 0; i < len(escaped); i++ {
		c := escaped[i]
		if c == '\\' && i+1 < len(escaped) {
			i++
			if c = escaped[i]; c == 'r' {
				c = '\r'
			}
		}
		plain = append(plain, c)
	}
	units := make([]uint16, len(plain)/2)
	for i := range units {
		units[i] = uint16(plain[2*i])<<8 | uint16(plain[2*i+1])
	}
	return string(utf16.Decode(units))
}

// No type on the two pages of A4 is smaller than 8 points, whatever the demo plans: a tired reader has to read it.
func TestTypeIsLargeEnough(t *testing.T) {
	t.Parallel()
	const leastPt = 8.0
	for name, k := range demoPlans(t) {
		for _, units := range []measure.Units{measure.Metric, measure.Trade} {
			k.Units = units
			s, body := printed(t, k, sheet.A4)
			if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(body, -1)); n != 2 {
				t.Errorf("%s, %s: %d pages, want 2", name, units, n)
			}
			sizes := 0
			for _, content := range contents(body) {
				for _, set := range regexp.MustCompile(`/F\S+ ([0-9.]+) Tf`).FindAllSubmatch(content, -1) {
					sizes++
					if size, err := strconv.ParseFloat(string(set[1]), 64); err != nil || size < leastPt {
						t.Errorf("%s, %s: type of %s points", name, units, set[1])
					}
				}
			}
			if sizes < 100 {
				t.Errorf("%s, %s: %d settings of type were read: the reader of the test is out of date", name, units, sizes)
			}
			stacked := strings.NewReplacer("/", "") // of two units one stands below the other
			text := stacked.Replace(squeezed(read(t, body)))
			for _, want := range figures(s) {
				if !strings.Contains(text, stacked.Replace(squeezed(want))) {
					t.Errorf("%s, %s: the paper lacks %q", name, units, want)
				}
			}
		}
	}
}

// Whatever a plan says, it takes two pages: type shrinks and what the screen has is left to it, never a step.
func TestMuchIsSetOnTwoPages(t *testing.T) {
	t.Parallel()
	k := changed(t, func(p *planner.Plan, _ *planner.Request) {
		p.VesselName = strings.Repeat("Long name ", 11)
		p.Steps = append(p.Steps, p.Steps[:12]...)
	})
	s, body := printed(t, k, sheet.Letter)
	text := squeezed(read(t, body))
	for _, step := range s.Subject.Plan.Steps {
		if !strings.Contains(text, squeezed(step.Do)) {
			t.Errorf("the paper lacks the step %q", step.Do)
		}
	}
	if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(body, -1)); n != 2 {
		t.Errorf("%d pages, want 2", n)
	}
}
