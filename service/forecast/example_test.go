package forecast_test

import (
	"fmt"
	"time"

	"rideout/service/forecast"
	"rideout/service/physics/quantity"
)

// A buoy's record with a missing sea, a row without wind and a break of two days.
func ExampleDecodeNDBC() {
	const text = `#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD MWD
#yr  mo dy hr mn degT m/s  m/s     m   sec degT
2031 05 01 00 50  80 16.4 19.7  4.22  7.69  85
2031 05 01 01 50  79 17.2 21.7 99.00 99.00 999
2031 05 01 02 50  81 99.0 99.0  5.75  9.09  84
2031 05 03 02 50 315  9.0 11.5  2.10  6.67 300
`
	record, notes, err := forecast.DecodeNDBC([]byte(text))
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, run := range forecast.Runs(record, 24*time.Hour) {
		for _, s := range run.Steps {
			sea := "no sea given"
			if s.HsM != nil {
				sea = fmt.Sprintf("Hs %.2f m, Tp %.1f s", *s.HsM, *s.TpS)
			}
			fmt.Printf("run %d, %s: %.1f kt from %.0f deg, %s\n", i+1, s.Time.Format(time.DateTime), quantity.Knots(s.WindMS), s.WindFrom.Degrees(), sea)
		}
	}
	for _, n := range notes {
		fmt.Println(n.Message)
	}
	// Output:
	// run 1, 2031-05-01 00:50:00: 31.9 kt from 80 deg, Hs 4.22 m, Tp 7.7 s
	// run 1, 2031-05-01 01:50:00: 33.4 kt from 79 deg, no sea given
	// run 2, 2031-05-03 02:50:00: 17.5 kt from 315 deg, Hs 2.10 m, Tp 6.7 s
	// 1 row without wind speed dropped
	// 1 gap of more than 24 h, the longest 49 h; a step holds until the next, so take one run at a time
	// the wind is taken as measured, for a buoy an 8 min mean at 3 to 5 m above the water, as if it were at 10 m, where its force is 1.22 to 1.43 times what is reckoned with
}

// A forecast in knots; the problems of a bad one come all at once.
func ExampleDecodeCoverageJSON() {
	const doc = `{
	  "type": "Coverage",
	  "domain": {
	    "type": "Domain", "domainType": "PointSeries",
	    "axes": {
	      "x": {"values": [-6.4]}, "y": {"values": [61.2]},
	      "t": {"values": ["2031-05-01T06:00:00Z", "2031-05-01T12:00:00Z"]}
	    },
	    "referencing": [{"coordinates": ["x", "y"], "system": {"type": "GeographicCRS"}}]
	  },
	  "parameters": {
	    "wind_speed": {"type": "Parameter", "observedProperty": {"label": {"en": "Wind speed"}}, "unit": {"symbol": "%s"}},
	    "wind_from_direction": {"type": "Parameter", "observedProperty": {"label": {"en": "Wind from"}}, "unit": {"symbol": "deg"}}
	  },
	  "ranges": {
	    "wind_speed": {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [2], "values": [40, 45]},
	    "wind_from_direction": {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [2], "values": [240, null]}
	  }
	}`
	c, _, err := forecast.DecodeCoverageJSON(fmt.Appendf(nil, doc, "[kn_i]"))
	if err != nil {
		fmt.Println(err)
		return
	}
	s := c.Forecast.Steps
	fmt.Printf("at %.1f N, %.1f E: %.2f m/s, then %.2f m/s\n", c.Position.LatitudeDeg, c.Position.LongitudeDeg, s[0].WindMS, s[1].WindMS)
	fmt.Printf("from %.0f deg, then not given: %t\n", s[0].WindFrom.Degrees(), s[1].WindFrom == nil)

	_, _, err = forecast.DecodeCoverageJSON(fmt.Appendf(nil, doc, "Bft"))
	fmt.Println(err)
	// Output:
	// at 61.2 N, -6.4 E: 20.58 m/s, then 23.15 m/s
	// from 240 deg, then not given: true
	// forecast: /parameters/wind_speed/unit/symbol: the unit "Bft" is not known
}
