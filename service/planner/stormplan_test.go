package planner_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"strings"
	"testing"

	"rideout/service/planner"
)

// mostCoded is what a storm plan may weigh on a poor link.
const mostCoded = 1200

func TestStormPlanIsShort(t *testing.T) {
	t.Parallel()
	for _, ask := range []func() planner.Request{kestrel, petrel, gannet} {
		r := quick(ask())
		r.Position, r.Vessel.CallSign, r.Vessel.MMSI = &leeShore, "RDHM", "231000000"
		p := compute(t, r)
		p.ID = "01890c2e-7b7a-7cc3-8a35-2f1d3c4b5a69"
		s := planner.InShort(p, r)
		text, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var coded bytes.Buffer
		w := gzip.NewWriter(&coded)
		_, _ = w.Write(text)
		_ = w.Close()
		if coded.Len() > mostCoded {
			t.Errorf("%s: %d bytes coded, at most %d: %s", r.Vessel.Name, coded.Len(), mostCoded, text)
		}
		if len(s.PayOut) != len(p.Phases) || s.SeaRoom == nil || s.Weakest == "" || s.HeadDeg == nil || !s.Until.After(s.From) {
			t.Errorf("%s: %s", r.Vessel.Name, text)
		}
	}
}

// The text rounds no hour up to the shore, and says when the set is too weak.
func TestStormTextIsOnTheSafeSide(t *testing.T) {
	t.Parallel()
	hours := 2.6
	s := planner.StormPlan{Weakest: "rode", Use: 0.98, Warnings: []string{"over_capacity_at_high_end"}, SeaRoom: &planner.StormSeaRoom{EarliestH: &hours}}
	for _, want := range []string{"SHORE EARLIEST 2 H", "WEAKEST RODE AT 98 PCT, OVER 100 AT THE HIGH END", "\nDRIFT 0.0 KT"} {
		if text := s.Text(); !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	s.Use = 1.2
	if text := s.Text(); !strings.Contains(text, "120 PCT, NOT STRONG ENOUGH") {
		t.Errorf("it does not say that the set is too weak:\n%s", text)
	}
}
