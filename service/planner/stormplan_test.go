package planner_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
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
