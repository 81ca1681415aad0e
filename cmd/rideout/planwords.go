package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"rideout/service/planner"
)

const textWidth = 100

// page writes a plan as text. The first error ends it.
type page struct {
	w   io.Writer
	err error
}

// writePlan writes what a person needs of a plan: the document holds more.
func writePlan(w io.Writer, p planner.Plan) error {
	out := &page{w: w}
	out.print("PLAN for %s: %s (engine %s, input %.12s)\n\n", p.VesselName, spaced(string(p.Intent)), p.Engine, p.InputSHA256)
	out.wrap("", p.Summary)
	out.phases(p.Phases)
	out.canopy(p.Canopy)
	out.rode(p.Rode)
	out.hardware(p.Hardware)
	for _, u := range p.ChangeFirst {
		out.wrap("- ", "To change: "+u.Text)
	}
	out.seamanship(p)
	out.heading("What drives the answer")
	out.wrap("", p.Bands.Text)
	for _, b := range p.Bands.Inputs {
		out.wrapf("- ", "%s %s %s: peak %s kN%s", b.Name, band(b.Value, 1), b.Unit, band(b.PeakN, 1e-3), mark(b.Drives, " (drives)"))
	}
	out.set(p.Recommended)
	out.comparison(p.Comparison)
	out.heading("Assumed, because it was not given")
	for _, a := range p.Assumptions {
		out.wrapf("- ", "%s %s %s: %s. Source: %s", a.Name, band(a.Value, 1), a.Unit, a.Why, a.Source)
	}
	out.heading("Method")
	out.wrap("", p.Method.Text)
	if len(p.Warnings) > 0 {
		out.heading("WARNINGS")
		for _, warning := range p.Warnings {
			out.wrap("- ", warning.Message)
		}
	}
	out.heading("CAUTIONS")
	for _, caution := range p.Cautions {
		out.wrap("- ", caution)
	}
	out.print("\n")
	return out.err
}

func (o *page) phases(phases []planner.Phase) {
	o.heading("Phases of the forecast (times UTC; loads low / middle / high)")
	o.table("phase\tfrom\thours\twind kt\tgust kt\tBft\tHs m\tTp s\tpay out m\tdrift kt\tpeak kN", len(phases), func(i int) string {
		f := phases[i]
		return fmt.Sprintf("%s\t%s\t%.0f\t%.0f\t%.0f\t%d\t%.1f\t%.1f\t%.0f\t%s\t%s", spaced(f.Name), at(f.From), f.Hours, f.WindKt, f.GustKt,
			f.BeaufortForce, f.HsM, f.TpS, f.PayOutM, band(f.Loads.DriftKt, 1), band(f.Loads.PeakN, 1e-3))
	})
	for _, f := range phases {
		o.wrapf("- ", "%s: %s", spaced(f.Name), f.Advice)
		if len(f.Estimated) > 0 {
			o.wrapf("  ", "Estimated, not forecast: %s.", strings.Join(f.Estimated, ", "))
		}
	}
}

func (o *page) canopy(c planner.CanopyAdvice) {
	o.heading("Canopy")
	carried := "none carried"
	if c.CarriedDiameterM != nil {
		carried = fmt.Sprintf("carried %.1f m", *c.CarriedDiameterM)
	}
	o.wrapf("", "Recommended %.1f m (%s), %s: %s. %s", c.RecommendedDiameterM, spaced(c.Shape), carried, spaced(c.Verdict), c.Reason)
}

func (o *page) rode(r planner.RodeAdvice) {
	o.heading("Rode")
	o.wrapf("", "Pay out %.0f m of %.0f mm %s: %s. %s", r.PayOutM, r.DiameterMM, spaced(r.Construction), spaced(r.Verdict), r.Reason)
	o.wrapf("", "It breaks at %.1f kN new, %.1f kN as used; working load %.1f kN. The forecast uses up %s %% of its life.",
		r.BreakingNewN/1e3, r.BreakingUsedN/1e3, r.WorkingLoadN/1e3, band(r.FatigueShare, 100))
	o.heading("Load against rode length, in the worst phase")
	o.table("length m\tmean kN\tst. dev. kN\tpeak kN low / mid / high\tslack %\tuse of the weakest part %", len(r.Curve), func(i int) string {
		c := r.Curve[i]
		return fmt.Sprintf("%.0f\t%.1f\t%.1f\t%s\t%.0f\t%s", c.LengthM, c.MeanN.Mid/1e3, c.StandardDeviationN.Mid/1e3, band(c.PeakN, 1e-3),
			c.SlackShare.Mid*100, band(c.Use, 100))
	})
}

func (o *page) hardware(parts []planner.Part) {
	o.heading("Hardware, from strong point to canopy")
	o.table("part\tholds kN\tasked kN\tuse %\tverdict\t", len(parts), func(i int) string {
		h := parts[i]
		return fmt.Sprintf("%s\t%.1f\t%.1f\t%.0f\t%s\t%s", h.Part, h.CapacityN/1e3, h.DemandN/1e3, h.Use*100, spaced(h.Verdict), mark(h.Governing, "<- governs"))
	})
}

// seamanship writes how she lies, where she goes, when and how the work is done.
func (o *page) seamanship(p planner.Plan) {
	if p.Bridle != nil {
		o.heading("Bridle and heading")
		o.wrap("", p.Bridle.Text)
		for _, s := range p.Bridle.Shifts {
			o.wrapf("- ", "wind shifts %+.0f degrees, the sea not yet: %.0f off the wind, %.0f off the sea; %s", s.ShiftDeg, s.OffWindDeg, s.OffSeaDeg, s.Text)
		}
	}
	if r := p.SeaRoom; r != nil {
		o.heading("Sea room")
		o.wrap("", r.Text)
		for _, d := range r.LatestToAct {
			o.wrapf("- ", "%s: %s", d.Act, d.Text)
		}
		o.wrap("", r.Limits+" Current: "+r.CurrentContained+".")
	}
	if len(p.Hours) > 0 {
		o.heading("Hours")
		for _, h := range p.Hours {
			o.wrapf("- ", "%s (%s, %s): %s %s", h.Action, spaced(h.Verdict), spaced(h.Light), h.Text, h.Why)
		}
	}
	stage := ""
	for _, s := range p.Steps {
		if s.Stage != stage {
			stage = s.Stage
			o.heading("Steps: " + stage)
		}
		o.wrapf(fmt.Sprintf("%2d ", s.Number), "[%s] %s Why: %s Hazard: %s", spaced(s.Who), s.Do, s.Why, s.Hazard)
	}
	if p.Crew != nil {
		o.heading("Safety message")
		o.wrap("", p.Crew.Securite)
	}
}

func (o *page) set(items []planner.SetItem) {
	if len(items) == 0 {
		return
	}
	o.heading("A whole set for this vessel and forecast")
	for _, s := range items {
		o.wrapf("- ", "%s: %s. %s", s.Part, s.Size, s.Why)
	}
}

func (o *page) comparison(rows []planner.Comparison) {
	o.heading("Beside rules of thumb and tables")
	for _, c := range rows {
		o.wrapf("- ", "%s: ours %s, theirs %s %s; %s. Source: %s", c.What, figure(c.Ours), figure(c.Reference), c.Unit, c.Comment, c.Source)
	}
}

func (o *page) heading(text string) { o.print("\n%s\n", text) }

func (o *page) print(format string, args ...any) {
	if o.err == nil {
		_, o.err = fmt.Fprintf(o.w, format, args...)
	}
}

// table writes rows of cells divided by tabs.
func (o *page) table(head string, n int, row func(int) string) {
	t := tabwriter.NewWriter(o.w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  "+head) // errors are kept by the writer until Flush
	for i := range n {
		fmt.Fprintln(t, "  "+row(i))
	}
	if err := t.Flush(); o.err == nil {
		o.err = err
	}
}

func (o *page) wrapf(bullet, format string, args ...any) {
	o.wrap(bullet, fmt.Sprintf(format, args...))
}

// wrap writes a paragraph, its first line behind a bullet.
func (o *page) wrap(bullet, text string) {
	indent := strings.Repeat(" ", len(bullet))
	line := bullet
	for _, word := range strings.Fields(text) {
		if len(line) > len(indent) && len(line)+1+len(word) > textWidth {
			o.print("%s\n", line)
			line = indent
		}
		if len(line) > len(indent) {
			line += " "
		}
		line += word
	}
	o.print("%s\n", line)
}

// band writes low / middle / high of a value, or the one figure of a known one.
func band(b planner.Band, scale float64) string {
	if b.Known() {
		return figure(b.Mid * scale)
	}
	return figure(b.Low*scale) + " / " + figure(b.Mid*scale) + " / " + figure(b.High*scale)
}

// figure writes three digits, and large numbers whole.
func figure(v float64) string {
	if math.Abs(v) >= 100 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 3, 64)
}

func at(t time.Time) string { return t.UTC().Format("01-02 15:04") }

func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }

func mark(on bool, text string) string {
	if on {
		return text
	}
	return ""
}
