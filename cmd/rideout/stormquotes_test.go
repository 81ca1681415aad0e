package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/service/planner"
	judged "rideout/service/readiness"
)

// quotePlan quotes what the page shows of a plan.
func quotePlan(b map[string]string, p planner.Plan) {
	b["summary"] = "> " + p.Summary
	b["loads"] = loadsOf(p)
	b["curve"] = curveOf(p)
	b["hardware"] = hardwareOf(p)
	b["bands"] = bandsOf(p)
	b["change first"] = changeFirstOf(p)
	b["bridle"] = "> " + p.Bridle.Text
	b["hours"] = hoursOf(p)
	b["sea room"] = "> " + p.SeaRoom.Text
	b["deck"] = deckOf(p, "deploy")
	b["retrieving"] = deckOf(p, "retrieve")
	b["warnings"] = warningsOf(p)
}

func kN(n float64) string { return fmt.Sprintf("%.1f", n/1000) }

func inKN(b planner.Band) []string { return []string{kN(b.Low), kN(b.Mid), kN(b.High)} }

func plainBand(b planner.Band, format string) []string {
	return []string{fmt.Sprintf(format, b.Low), fmt.Sprintf(format, b.Mid), fmt.Sprintf(format, b.High)}
}

func hour(t time.Time) string { return t.UTC().Format("2 Jan 15:04") }

func loadsOf(p planner.Plan) string {
	row := func(name string, figures []string) []string { return append([]string{name}, figures...) }
	l := p.Loads
	return table(
		[]string{"in the worst phase", "low", "mid", "high"},
		row("steady pull, kN", inKN(l.SteadyN)),
		row("mean in the seaway, kN", inKN(l.MeanN)),
		row("most probable peak of 3 h, kN", inKN(l.MostProbablePeakN)),
		row("peak that nine of ten spells of 3 h stay below, kN", inKN(l.PeakN)),
		row("its standard error, from the number of seas, kN", inKN(l.PeakStandardErrorN)),
		row("rode slack, % of the time", plainBand(l.SlackShare.Scale(100), "%.0f")),
		row("drift through the water, kt", plainBand(l.DriftKt, "%.2f")),
	) + fmt.Sprintf("\nRode to pay out in that phase: %.0f m of %.0f m carried; canopy %.1f m; engine `%s`.\n", p.Rode.PayOutM, *p.Rode.CarriedM, p.Canopy.UsedDiameterM, p.Engine)
}

func curveOf(p planner.Plan) string {
	rows := [][]string{{"rode out, m", "peak low, kN", "mid", "high", "use of the weakest part at mid", "slack at mid"}}
	for _, c := range p.Rode.Curve {
		rows = append(rows, append(append([]string{fmt.Sprintf("%.0f", c.LengthM)}, inKN(c.PeakN)...), fmt.Sprintf("%.0f %%", 100*c.Use.Mid), fmt.Sprintf("%.0f %%", 100*c.SlackShare.Mid)))
	}
	return table(rows...)
}

func hardwareOf(p planner.Plan) string {
	rows := [][]string{{"part", "capacity, kN", "demand, kN", "use", "verdict", "by"}}
	for _, h := range p.Hardware {
		name := h.Part
		if h.Governing {
			name = "**" + name + "**"
		}
		rows = append(rows, []string{name, kN(h.CapacityN), kN(h.DemandN), fmt.Sprintf("%.0f %%", 100*h.Use), h.Verdict, h.Basis})
	}
	return table(rows...)
}

func bandsOf(p planner.Plan) string {
	rows := [][]string{{"input", "low", "mid", "high", "peak at low, kN", "at mid", "at high"}}
	for _, in := range p.Bands.Inputs {
		name := strings.TrimSpace(in.Name + ", " + in.Unit)
		if in.Unit == "" {
			name = in.Name
		}
		rows = append(rows, append(append([]string{name}, plainBand(in.Value, "%.3g")...), inKN(in.PeakN)...))
	}
	return table(rows...) + "\n> " + p.Bands.Text + "\n"
}

func changeFirstOf(p planner.Plan) string {
	if len(p.ChangeFirst) == 0 {
		return "Nothing: no change of a part would make the weakest much stronger."
	}
	var lines []string
	for _, u := range p.ChangeFirst {
		lines = append(lines, u.Text)
	}
	return bullets(lines...)
}

func hoursOf(p planner.Plan) string {
	rows := [][]string{{"act", "from", "until", "light", "what the plan says"}}
	at := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return hour(*t)
	}
	for _, h := range p.Hours {
		rows = append(rows, []string{h.Action, at(h.From), at(h.Until), strings.ReplaceAll(h.Light, "_", " "), h.Text})
	}
	return table(rows...)
}

func deckOf(p planner.Plan, stage string) string {
	rows := [][]string{{"", "who", "does", "mind"}}
	for _, step := range p.Steps {
		if step.Stage == stage {
			rows = append(rows, []string{fmt.Sprint(step.Number), step.Who, step.Do, step.Hazard})
		}
	}
	return table(rows...)
}

func warningsOf(p planner.Plan) string {
	var lines []string
	for _, w := range p.Warnings {
		lines = append(lines, "`"+w.Code+"`: "+w.Message)
	}
	if len(lines) == 0 {
		return "None."
	}
	return bullets(lines...)
}

func findingsOf(r judged.Report) string {
	lines := []string{fmt.Sprintf("%s as of %s UTC: **%s**", r.VesselName, hour(r.ValidAt), r.Verdict)}
	for _, f := range r.Findings {
		lines = append(lines, fmt.Sprintf("`%s` (%s): %s %s", f.Code, f.Severity, f.Text, f.Fix))
	}
	return bullets(lines...)
}

func whereOf(w planner.Whereabouts) string {
	rows := [][]string{{"", "middle, by " + hour(w.At) + " UTC", "held with", "half axes, NM", "area, NM²"}}
	add := func(name string, w planner.Whereabouts) {
		at := fmt.Sprintf("%.3f°, %.3f°", w.Position.LatitudeDeg, w.Position.LongitudeDeg)
		for _, c := range w.Containment {
			rows = append(rows, []string{name, at, fmt.Sprintf("%.0f %%", 100*c.Share), fmt.Sprintf("%.1f by %.1f", c.MajorNM, c.MinorNM), fmt.Sprintf("%.3g", c.AreaNM2)})
		}
	}
	add("lying to the canopy", w)
	add("with nothing out", *w.Adrift)
	return table(rows...)
}

func outlookOf(v service.VesselOutlook) string {
	o := v.Outlook
	lines := []string{
		fmt.Sprintf("%s is %s; she was last reported at %s UTC (%s).", v.VesselName, v.State, hour(v.FixedAt), v.FixedBy),
		fmt.Sprintf("act `%s`: %s", o.Act, o.Text),
		fmt.Sprintf("weakest part: %s at %.0f %%", o.Weakest, 100*o.WeakestUse),
	}
	if o.NotBefore != nil {
		lines = append(lines, "not to be retrieved before "+hour(*o.NotBefore)+" UTC")
	}
	for _, out := range o.Outside {
		lines = append(lines, "outside her limits: "+out)
	}
	return bullets(lines...)
}

func changesOf(c planner.Changes) string {
	lines := []string{"**" + c.Summary + "**"}
	for _, x := range c.Changes {
		worse := ""
		if x.Worse {
			worse = " (asks more)"
		}
		lines = append(lines, x.Text+worse)
	}
	return bullets(lines...)
}

func usesOf(items ...service.GearUse) string {
	rows := [][]string{{"item", "hours lain to", "of them in gale or storm", "share of its life used (low, mid, high)", "retired at"}}
	for _, u := range items {
		limit := "no limit in the policy"
		if u.Limits != nil {
			limit = fmt.Sprintf("%.0f h of storm", u.Limits.StormHours)
			if u.Limits.FatigueShare != nil {
				limit += fmt.Sprintf(", or %.0f %% of its life", 100**u.Limits.FatigueShare)
			}
		}
		life := "-"
		if u.Kind == "rode" {
			life = fmt.Sprintf("%.3g %%, %.3g %%, %.3g %%", 100*u.FatigueShare.Low, 100*u.FatigueShare.Mid, 100*u.FatigueShare.High)
		}
		rows = append(rows, []string{u.Kind, fmt.Sprintf("%.1f", u.Hours), fmt.Sprintf("%.1f", u.StormHours), life, limit})
	}
	return table(rows...)
}

// learntOf sets what the outcomes taught of her before and after the storm beside each other.
func learntOf(vessel uuid.UUID, before, after service.Learning) string {
	rows := [][]string{{"factor", "before: low", "mid", "high", "after: low", "mid", "high", "her outcomes before", "after"}}
	add := func(name string, b, a planner.Learnt) {
		row := append([]string{name}, plainBand(planner.Band{Low: b.Low, Mid: b.Mid, High: b.High}, "%.3f")...)
		row = append(row, plainBand(planner.Band{Low: a.Low, Mid: a.Mid, High: a.High}, "%.3f")...)
		rows = append(rows, append(row, fmt.Sprint(b.Observations), fmt.Sprint(a.Observations)))
	}
	windage := func(l service.Learning) (f planner.Learnt) {
		for _, v := range l.Vessels {
			if v.VesselID == vessel.String() {
				f = v.Windage
			}
		}
		return f
	}
	drift := func(l service.Learning) (f planner.Learnt, canopy string) {
		for _, p := range l.Pairs {
			if p.VesselID == vessel.String() {
				f, canopy = p.Drift, p.Canopy
			}
		}
		return f, canopy
	}
	add("windage, on the steady push", windage(before), windage(after))
	b, canopy := drift(before)
	a, _ := drift(after)
	add("drift, on the "+canopy+" canopy", b, a)
	return table(rows...)
}

// pairsOf lists what was observed under a deployment beside what its plan had.
func pairsOf(deployment uuid.UUID, l service.Learning) string {
	rows := [][]string{{"observed", "the plan had", "was", "unit", "observed over planned"}}
	for _, p := range l.Observations {
		if p.DeploymentID == deployment {
			rows = append(rows, []string{string(p.Kind), fmt.Sprintf("%.4g", p.Predicted), fmt.Sprintf("%.4g", p.Observed), p.Unit, fmt.Sprintf("%.3f", p.Observed/p.Predicted)})
		}
	}
	return table(rows...)
}

func effectOf(p planner.Plan) string {
	c := p.Calibration
	used := "not used: " + c.Why
	if c.Used {
		used = "used: " + c.Why
	}
	if c.Effect == nil {
		return used
	}
	e := c.Effect
	rows := [][]string{{"the noon forecast, planned again", "without the factors", "with them"}}
	add := func(name, format string, p planner.Pair, by float64) {
		rows = append(rows, []string{name, fmt.Sprintf(format, p.Without*by), fmt.Sprintf(format, p.With*by)})
	}
	add("peak, kN", "%.1f", e.PeakN, 1e-3)
	add("mean, kN", "%.1f", e.MeanN, 1e-3)
	add("drift, kt", "%.2f", e.DriftKt, 1)
	add("rode to pay out, m", "%.0f", e.PayOutM, 1)
	return table(rows...) + "\nThe factors are " + used + "\n"
}
