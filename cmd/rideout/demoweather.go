package main

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"

	"rideout/service/physics/quantity"
	"rideout/service/planner"
)

// chanceOf is the chance of the demo: the same for the same name, in every demo.
func chanceOf(name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte("rideout demo: " + name)) // a hash takes everything
	return rand.New(rand.NewPCG(h.Sum64(), 1))
}

// weathers are the strongest wind (kt) and sea (m, s) of the demo's kinds of weather. The design storm is the fleet's policy's.
var weathers = map[string]struct{ windKt, hsM, tpS float64 }{
	"strong_wind": {27, 2.8, 7.5},
	"gale":        {38, 4.6, 9},
	"storm":       {46, 6.2, 10},
	"design":      {45, 6, 10},
}

// course is how a low passes: shares of its strongest wind, every three hours.
var course = []float64{0.80, 0.92, 1, 0.97, 0.90, 0.82, 0.66}

// weatherOf makes a forecast: a low that comes, veers and goes, with a tide that turns.
func weatherOf(kind, name string, begins time.Time) planner.Forecast {
	w, chance := weathers[kind], chanceOf("weather "+name)
	most, from := 1.0, 200+60*chance.Float64()
	if kind != "design" {
		most = 0.95 + 0.1*chance.Float64()
	}
	tide := 360 * chance.Float64()
	f := planner.Forecast{IssuedAt: begins.Add(-6 * time.Hour), Source: "invented: " + map[string]string{
		"strong_wind": "a fresh low", "gale": "a gale", "storm": "a storm", "design": "the fleet's design storm, planned for on paper",
	}[kind]}
	for i, share := range course {
		wind := share * most * w.windKt
		hs := math.Pow(share, 1.2) * most * w.hsM
		turned := math.Mod(tide+math.Mod(float64(i)*90, 360), 360)
		f.Steps = append(f.Steps, planner.Step{
			Time: begins.Add(time.Duration(i) * 3 * time.Hour), WindMS: quantity.MetresPerSecond(tenths(wind)), GustMS: new(quantity.MetresPerSecond(tenths(1.28 * wind))),
			WindFrom: new(quantity.Degrees(math.Round(from + 8*float64(i)))), WaveFrom: new(quantity.Degrees(math.Round(from + 5*float64(i)))),
			HsM: new(tenths(hs)), TpS: new(w.tpS), CurrentMS: new(quantity.MetresPerSecond(0.3)), CurrentToward: new(quantity.Degrees(math.Round(turned))),
		})
	}
	return f
}

func tenths(x float64) float64 { return math.Round(10*x) / 10 }
