package planner_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"rideout/service/planner"
)

// lies has her lie to it already, on so much rode; 0: not reported.
func lies(r planner.Request, rodeOutM float64) planner.Request {
	r.Lying = &planner.Lying{RodeOutM: rodeOutM}
	return r
}

// Deck work is over at 41 kt, and paying out takes half an hour. By hand: rising 3 kt an hour from 10 kt, 41 kt comes 10:20
// after dusk.
func TestLyingAlready(t *testing.T) {
	t.Parallel()
	rising := [][3]float64{{0, 10, 1}, {12, 46, 5}, {24, 10, 1}}
	hard := [][3]float64{{0, 45, 6}, {12, 46, 6}}
	lull := [][3]float64{{0, 45, 6}, {6, 35, 6}, {12, 50, 8}}
	for name, c := range map[string]struct {
		rows     [][3]float64
		outM     float64
		action   string // at once
		verdict  string
		payOutM  float64 // that hour's; 0: what the plan pays out
		says     string
		act      planner.Act
		warnings []string
	}{
		"all of it is out":           {rising, 183, "hold", "in_time", 183, "Keep 183 m out", planner.ActLie, nil},
		"more is wanted at once":     {hard[:1], 90, "adjust", "too_late", 183, "The forecast has no lull for it", planner.ActPayOut, []string{"rode_out_short", "too_late_to_adjust"}},
		"more, and a lull comes":     {lull, 90, "adjust", "too_late", 183, "The next lull for it begins 12 Jan 20:25 UTC", planner.ActPayOut, []string{"rode_out_short", "too_late_to_adjust"}},
		"not reported":               {rising, 0, "adjust", "in_time", 0, "was not reported", planner.ActPayOut, nil},
		"more than she carries":      {hard, 300, "hold", "in_time", 183, "Keep 183 m out", planner.ActLie, []string{"rode_out_over_carried"}},
		"short, and the day is calm": {[][3]float64{{0, 38, 6}, {12, 39, 6}}, 90, "adjust", "in_time", 183, "Pay out from 90 m to 183 m at once", planner.ActPayOut, []string{"rode_out_short"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := soon(t, lies(lain(blow(c.rows...)), c.outM))
			ordered(t, p)
			for _, h := range p.Hours {
				if slices.Contains([]string{"rig", "brief", "deploy", "settle"}, h.Action) {
					t.Errorf("an hour to %s: %s", h.Action, h.Text)
				}
			}
			for _, s := range p.Steps {
				if s.Stage == "prepare" || s.Stage == "deploy" {
					t.Errorf("a step to %s: %s", s.Stage, s.Do)
				}
			}
			for _, phase := range p.Phases {
				if strings.Contains(phase.Advice, "Rig ") || strings.Contains(phase.Advice, "before this begins") {
					t.Errorf("advice in the %s: %s", phase.Name, phase.Advice)
				}
			}
			first := p.Hours[0]
			want := c.payOutM
			if want == 0 {
				want = *first.PayOutM
			}
			if first.Action != c.action || first.Verdict != c.verdict || *first.PayOutM != want || !strings.Contains(first.Text, c.says) {
				t.Errorf("first %s, %s, %g m: %q; want %s, %s, %g m, %q", first.Action, first.Verdict, *first.PayOutM, first.Text, c.action, c.verdict, want, c.says)
			}
			for _, code := range []string{"rode_out_short", "rode_out_over_carried", "too_late_to_adjust", "too_late_to_rig", "too_late_to_deploy"} {
				if got, want := warned(p, code), slices.Contains(c.warnings, code); got != want {
					t.Errorf("warning %s: %t, want %t", code, got, want)
				}
			}
			if o := planner.OutlookOf(p); o.Act != c.act {
				t.Errorf("act %s (%s), want %s", o.Act, o.Text, c.act)
			}
		})
	}
}

// Rode goes out before the storm that needs it, and the storm plan says by when.
func TestLyingAlreadyPaysOutBeforeTheStorm(t *testing.T) {
	t.Parallel()
	r := lies(lain(blow([3]float64{0, 25, 2}, [3]float64{12, 30, 3}, [3]float64{24, 52, 8}, [3]float64{36, 15, 2})), 90)
	p := soon(t, r)
	if p.Rode.PayOutM != 183 {
		t.Fatalf("the storm asks for %g m, and the test for one that asks for all", p.Rode.PayOutM)
	}
	out := planner.OutlookOf(p)
	short := planner.InShort(p, r)
	storm := p.Phases[len(p.Phases)-1].From
	if out.Act != planner.ActPayOut || out.By == nil || out.By.After(storm) {
		t.Errorf("outlook %+v, want to pay out before %s", out, storm)
	}
	if len(short.Hours) == 0 || short.Hours[0].Action != "adjust" || !short.Hours[0].At.Equal(*out.By) || *short.Hours[0].PayOutM != 183 {
		t.Errorf("in short %+v, want to adjust to 183 m by %s", short.Hours, out.By)
	}
	text := short.Text()
	for _, want := range []string{"LYING TO IT, 90 M OUT", "PAY OUT TO 183 M BY "} {
		if !strings.Contains(text, want) {
			t.Errorf("the text says no %q:\n%s", want, text)
		}
	}
}

// What she lies to changes nothing of the loads: they are those of the same plan for a vessel in harbour.
func TestLyingAlreadyLeavesTheLoads(t *testing.T) {
	t.Parallel()
	r := kestrel()
	r.Position = &planner.Position{LatitudeDeg: 61.2, LongitudeDeg: -6.4}
	r = quick(r)
	harbour, out := compute(t, r), compute(t, lies(r, r.RodeTried[0]))
	for _, p := range []planner.Plan{harbour, out} {
		for i := range p.Phases {
			p.Phases[i].Advice = "" // which speaks of rigging or does not
		}
	}
	if !reflect.DeepEqual(harbour.Phases, out.Phases) || !reflect.DeepEqual(harbour.Hardware, out.Hardware) || !reflect.DeepEqual(harbour.Rode.Curve, out.Rode.Curve) {
		t.Error("the loads differ")
	}
	for _, d := range out.SeaRoom.LatestToAct {
		if d.Act == "deploy" || d.Act == "leave" && d.By != nil {
			t.Errorf("a latest hour to %s: %s", d.Act, d.Text)
		}
	}
}

func TestRodeOutIsValidated(t *testing.T) {
	t.Parallel()
	for m, want := range map[float64]bool{0: true, 5: true, 1000: true, 4.9: false, -1: false, 1001: false} {
		found := slices.ContainsFunc(planner.Validate(lies(kestrel(), m)), func(p planner.Problem) bool { return p.Pointer == "/lying/rode_out_m" })
		if found == want {
			t.Errorf("%g m out: refused %t, want %t", m, found, !want)
		}
	}
}
