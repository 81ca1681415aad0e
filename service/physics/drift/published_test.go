package drift_test

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"

	"rideout/service/physics/constant"
	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
)

func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "drift", map[string]published.Calc{
		"circular_radius": func(in published.Inputs) (float64, error) {
			return drift.CircularRadiusM(in.Get("half_m"), in.Get("share"))
		},
		"metres_off":       metresOff,
		"probability_low":  func(in published.Inputs) (float64, error) { return probability(in).Low, nil },
		"probability_high": func(in published.Inputs) (float64, error) { return probability(in).High, nil },
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	independent := sync.OnceValues(independentRun)
	published.Run(t, "drift_derived", map[string]published.Calc{
		"dispersion": dispersion,
		"probable_error": func(in published.Inputs) (float64, error) {
			return drift.ProbableErrorM(in.Get("first_m"), in.Get("searcher_m"), in.Get("hours"), in.Get("leeway_m_s"), in.Get("current_m_s"))
		},
		"ensemble_half_radius": halfRadius,
		"independent_latitude": func(published.Inputs) (float64, error) {
			e, err := independent()
			return e.Mean[len(e.Mean)-1].Point.LatitudeDeg(), err
		},
		"independent_longitude": func(published.Inputs) (float64, error) {
			e, err := independent()
			mean, _ := longitudes(e)
			return mean, err
		},
		"independent_longitude_deviation": func(published.Inputs) (float64, error) {
			e, err := independent()
			_, deviation := longitudes(e)
			return deviation, err
		},
		"independent_ashore": func(in published.Inputs) (float64, error) {
			e, err := independent()
			return e.Ashore.By(in.Get("hours")).Mid, err
		},
		"independent_passes": func(in published.Inputs) (float64, error) {
			e, err := independent()
			return e.Ashore.Passes(in.Get("share")).Hours, err
		},
	})
}

func exactly(v float64) constant.Coefficient { return constant.Coefficient{Band: quantity.Exactly(v)} }

func place(latitudeDeg, longitudeDeg float64) geo.Point {
	p, err := geo.At(latitudeDeg, longitudeDeg)
	if err != nil {
		panic(err) // a test's own constant
	}
	return p
}

// metresOff drifts without errors along up to two courses and measures how far from the source's place she ends.
func metresOff(in published.Inputs) (float64, error) {
	c := drift.Case{Start: place(in.Get("latitude_deg"), in.Get("longitude_deg")), Particles: drift.MinParticles}
	for i := 1; in.Has(fmt.Sprintf("toward_%d_deg", i)); i++ {
		c.Spans = append(c.Spans, drift.Span{
			Hours:   in.Get(fmt.Sprintf("hours_%d", i)),
			Toward:  quantity.Degrees(in.Get(fmt.Sprintf("toward_%d_deg", i))),
			SpeedMS: quantity.Exactly(in.Get(fmt.Sprintf("speed_%d_m_s", i))),
		})
	}
	e, err := drift.Run(c)
	if err != nil {
		return 0, err
	}
	off, err := geo.Inverse(e.Mid.Fixes[len(e.Mid.Fixes)-1].Point, place(in.Get("end_latitude_deg"), in.Get("end_longitude_deg")))
	return off.DistanceM, err
}

func probability(in published.Inputs) quantity.Band {
	return drift.Reach{TimesH: make([]float64, int(in.Get("reached"))), Particles: int(in.Get("particles")), ForecastH: 1}.Probability()
}

const many = 50000

// dispersion is the standard deviation, east and north alike, of particles that have an error of the current alone.
func dispersion(in published.Inputs) (float64, error) {
	cloud, err := endOf(drift.Case{
		Particles: many, Seed: 3, Spans: []drift.Span{{Hours: in.Get("hours")}},
		Spread: drift.Spread{CurrentMS: exactly(in.Get("error_m_s")), CurrentScaleH: exactly(in.Get("scale_h"))},
	})
	sum := 0.0
	for _, p := range cloud {
		sum += p.EastM*p.EastM + p.NorthM*p.NorthM
	}
	return math.Sqrt(sum / (2 * many)), err
}

// halfRadius is the radius that holds half of the particles whose error of the current lasts, as the worksheet takes it.
func halfRadius(in published.Inputs) (float64, error) {
	cloud, err := endOf(drift.Case{
		Particles: many, Seed: 5, Spans: []drift.Span{{Hours: in.Get("hours")}},
		Spread: drift.Spread{
			CurrentMS: exactly(in.Get("current_m_s") / math.Sqrt(2*math.Ln2)), CurrentScaleH: exactly(1e9),
			PositionM: exactly(in.Get("first_m")),
		},
	})
	distances := make([]float64, len(cloud))
	for i, p := range cloud {
		distances[i] = math.Hypot(p.EastM, p.NorthM)
	}
	slices.Sort(distances)
	return distances[len(distances)/2], err
}

// endOf gives the places of all particles at the end.
func endOf(c drift.Case) ([]geo.XY, error) {
	e, err := drift.Run(c)
	if err != nil {
		return nil, err
	}
	end := 0.0
	for _, s := range c.Spans {
		end += s.Hours
	}
	return e.Cloud(end)
}

// independentRun is the case of testdata/reference.py.
func independentRun() (drift.Ensemble, error) {
	start := place(70, 10)
	var parallel shore
	for deg := -2.0; deg <= 6; deg += 0.125 {
		corner, err := geo.NewPlane(start).XY(place(70.42, 10+deg))
		if err != nil {
			return drift.Ensemble{}, err
		}
		parallel = append(parallel, corner)
	}
	span := func(hours, toward float64, speed quantity.Band, divergence, east, north float64, mode int) drift.Span {
		return drift.Span{
			Hours: hours, Toward: quantity.Degrees(toward), SpeedMS: speed, Divergence: quantity.Degrees(divergence),
			CurrentEastMS: east, CurrentNorthMS: north, Mode: mode,
		}
	}
	return drift.Run(drift.Case{
		Start: start, Particles: many, Seed: 11, Obstacles: parallel,
		Spans: []drift.Span{
			span(6, 30, quantity.Band{Low: 0.6, Mid: 0.9, High: 1.4}, 30, 0.10, -0.05, 0),
			span(12, 20, quantity.Band{Low: 0.2, Mid: 0.3, High: 0.6}, 10, 0.15, 0, 1),
			span(18, 350, quantity.Band{Low: 0.3, Mid: 0.4, High: 0.7}, 10, 0.05, 0.10, 1),
		},
		Spread: drift.Spread{
			WindShare:     drift.Growth{First: exactly(0.10), Last: exactly(0.25), OverH: 24},
			WindDirection: drift.Growth{First: exactly(8 * math.Pi / 180), Last: exactly(25 * math.Pi / 180), OverH: 24},
			WindScaleH:    exactly(9), CurrentMS: exactly(0.12), CurrentScaleH: exactly(5),
			PositionM: exactly(600), SwitchPerH: exactly(0.1),
		},
	})
}

// longitudes gives mean and standard deviation of the longitudes at the end, in degrees.
func longitudes(e drift.Ensemble) (mean, deviation float64) {
	cloud, err := e.Cloud(36)
	if err != nil {
		return math.NaN(), math.NaN()
	}
	plane := geo.NewPlane(e.Mid.Fixes[0].Point)
	var sum, squares float64
	for _, xy := range cloud {
		p, err := plane.Point(xy)
		if err != nil {
			return math.NaN(), math.NaN()
		}
		sum += p.LongitudeDeg()
		squares += p.LongitudeDeg() * p.LongitudeDeg()
	}
	mean = sum / float64(len(cloud))
	return mean, math.Sqrt(squares/float64(len(cloud)) - mean*mean)
}
