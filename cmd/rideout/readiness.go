package main

import (
	"context"
	"flag"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"rideout/openapi"
)

// readiness tells which vessels are ready, or of one all that was found.
func readiness(ctx context.Context, p program, args []string) error {
	var c calling
	var at asOf
	var w window
	flags := newFlags("readiness")
	c.flags(p, flags)
	at.flags(flags)
	named := flags.String("vessel", "", "only this vessel, by `name` or id, with all findings")
	verdict := flags.String("verdict", "", "only vessels with this verdict: `one` of ready, ready_with_reservations, not_ready")
	w.flags(flags)
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if err := w.check(*named, *verdict); err != nil {
		return err
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	if *named == "" {
		var only *openapi.ReadinessVerdict
		if *verdict != "" {
			only = new(openapi.ReadinessVerdict(*verdict))
		}
		return list(r, "vessels", "VERDICT\tVESSEL\tFINDINGS\tFIRST OF THEM", readinessRow, func(cursor *string) (*http.Response, error) {
			return r.ListReadiness(ctx, &openapi.ListReadinessParams{Verdict: only, ValidAt: at.valid, KnownAt: at.known, Limit: pages, Cursor: cursor})
		})
	}
	id, err := r.vessel(ctx, *named)
	if err != nil {
		return err
	}
	answer, err := r.GetVesselReadiness(ctx, id, &openapi.GetVesselReadinessParams{ValidAt: at.valid, KnownAt: at.known, From: w.from, To: w.to, WindSpeedKt: w.wind, SignificantWaveHeightM: w.sea})
	return show(r, readinessWords, answer, err)
}

// window is the time of a booking, and the weather usual in it.
type window struct {
	from, to  *time.Time
	wind, sea *float64
}

func (w *window) flags(flags *flag.FlagSet) {
	timeFlag(flags, &w.from, "from", "of one vessel: begin of a window, such as a booking; what falls due in it is told (`time`)")
	timeFlag(flags, &w.to, "to", "end of the window (`time`)")
	number := func(into **float64) func(string) error {
		return func(text string) error {
			v, err := strconv.ParseFloat(text, 64)
			*into = &v
			return err
		}
	}
	flags.Func("wind", "the wind usual there in the window, in `kt`", number(&w.wind))
	flags.Func("sea", "the significant wave height usual there in the window, in `m`", number(&w.sea))
}

func (w window) check(named, verdict string) error {
	asked := w.from != nil || w.to != nil || w.wind != nil || w.sea != nil
	switch {
	case named == "" && asked:
		return usageError{"readiness: a window is for one vessel: name her by --vessel"}
	case named != "" && verdict != "":
		return usageError{"readiness: --verdict is for the fleet; leave it or --vessel out"}
	case asked && (w.from == nil || w.to == nil):
		return usageError{"readiness: a window has --from and --to"}
	}
	return nil
}

func readinessRow(v openapi.ReadinessReport) string {
	first := "-"
	if len(v.Findings) > 0 {
		first = v.Findings[0].Text
	}
	return strings.Join([]string{spaced(string(v.Verdict)), v.VesselName, strconv.Itoa(len(v.Findings)), first}, "\t")
}

func readinessWords(out *page, v openapi.ReadinessReport) {
	out.print("%s: %s\nas of %s, by what was recorded up to %s (rules %s)\n", v.VesselName, strings.ToUpper(spaced(string(v.Verdict))), stamp(v.ValidAt), stamp(v.KnownAt), v.Rules)
	findings(out, v.Findings, "Nothing was found.")
	if w := v.Window; w != nil {
		out.heading(fmt.Sprintf("From %s to %s: %s", stamp(w.From), stamp(w.To), strings.ToUpper(spaced(string(w.Verdict)))))
		findings(out, w.Findings, "Nothing more falls due.")
	}
	out.print("\n")
	out.wrap("", "This is what the records say. Whether she sails is decided by her skipper, after looking at vessel, gear and crew.")
}

func findings(out *page, list []openapi.ReadinessFinding, none string) {
	for _, f := range list {
		out.wrapf("- ", "%s (%s, %s)%s%s", f.Text, spaced(string(f.Severity)), f.Code, when(", since ", f.Since), when(", due ", f.Due))
		out.wrap("    ", "Put right by: "+f.Fix)
	}
	if len(list) == 0 {
		out.print("%s\n", none)
	}
}

func when(before string, t *time.Time) string {
	if t == nil {
		return ""
	}
	return before + stamp(*t)
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }
