package calibration_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"rideout/service/calibration"
	"rideout/service/physics/quantity"
)

// referencePrior is that of testdata/reference.bug.
var referencePrior = calibration.Prior{
	WindageFleetSD: 0.15, WindageBetweenSD: 0.15, DragFleetSD: 0.08, DragBetweenSD: 0.08,
	StatedWeight: 10, WildShare: 0.05,
}

// The whole model against a sampler of another hand, on three invented fleets: mixed and with a wild
// drift; of drifts alone; and of fewer vessels than canopies.
func TestAgainstJAGS(t *testing.T) {
	t.Parallel()
	var reference struct {
		Source, Why string
		Rows        []struct {
			Fleet, What       string
			SD, Q05, Q50, Q95 float64
		}
	}
	decode(t, "reference.json", &reference)
	figures := map[string]map[string]figure{}
	for _, row := range reference.Rows {
		if figures[row.Fleet] == nil {
			figures[row.Fleet] = figuresOf(estimate(t, fleetOf(t, row.Fleet), referencePrior))
		}
		got, there := figures[row.Fleet][row.What]
		if !there {
			t.Errorf("%s: no %s in the result", row.Fleet, row.What)
			continue
		}
		mid, end := 0.08, 0.20
		if got.sd == 0 { // a deviation or a noise
			mid, end = 0.16, 0.36
		} else if !(math.Abs(got.sd/row.SD-1) <= 0.08) {
			t.Errorf("%s, %s: deviation %.4f, want %.4f within 8 %% (%s; %s)", row.Fleet, row.What, got.sd, row.SD, reference.Source, reference.Why)
		}
		for _, c := range []struct{ got, want, tol float64 }{{got.low, row.Q05, end}, {got.mid, row.Q50, mid}, {got.high, row.Q95, end}} {
			if !(math.Abs(c.got-c.want) <= c.tol*row.SD) {
				t.Errorf("%s, %s: %.4f, want %.4f within %g of %.4f (%s; %s)", row.Fleet, row.What, c.got, c.want, c.tol, row.SD, reference.Source, reference.Why)
			}
		}
	}
	if len(figures) != 3 {
		t.Errorf("%d fleets held against the reference, want 3", len(figures))
	}
}

// The published posterior of the eight schools: a school's effect is the logarithm of a vessel's
// windage times 100, its standard error the stated accuracy, and every observation is sound.
func TestEightSchools(t *testing.T) {
	t.Parallel()
	var schools struct {
		Source, Why   string
		Effect        []float64
		StandardError []float64 `json:"standard_error"`
		Rows          []struct {
			What                  string
			Median, SD, Effective float64
		}
	}
	decode(t, "schools.json", &schools)
	var observations []calibration.Observation
	for i, effect := range schools.Effect {
		observations = append(observations, calibration.Observation{
			ID: fmt.Sprint(i), Vessel: fmt.Sprintf("theta[%d]", i+1), Canopy: "none", Kind: calibration.Load,
			Predicted: 1000, Observed: 1000 * math.Exp(effect/100), Share: schools.StandardError[i] / 100,
		})
	}
	// deviations of 100 points are as good as flat over the few tens that matter
	flat := calibration.Prior{WindageFleetSD: 1, WindageBetweenSD: 1, DragFleetSD: 1, DragBetweenSD: 1, StatedWeight: 1e9}
	result := estimate(t, observations, flat)
	got := map[string]figure{"mu": ofFactor(result.Fleet.Windage), "tau": {mid: result.BetweenVessels.Mid}}
	for _, v := range result.Vessels {
		got[v.Name] = ofFactor(v.Windage)
	}
	for _, row := range schools.Rows {
		g := got[row.What]
		if tol := 4 * row.SD * math.Hypot(0.02, 1.25/math.Sqrt(row.Effective)); !(math.Abs(100*g.mid-row.Median) <= tol) {
			t.Errorf("%s: median %.2f, want %.2f within %.2f (%s; %s)", row.What, 100*g.mid, row.Median, tol, schools.Source, schools.Why)
		}
		if row.What != "tau" && !(math.Abs(100*g.sd/row.SD-1) <= 0.08) {
			t.Errorf("%s: deviation %.2f, want %.2f within 8 %% (%s; %s)", row.What, 100*g.sd, row.SD, schools.Source, schools.Why)
		}
	}
}

// figure is a quantity as the references give it: of a factor the logarithm.
type figure struct{ low, mid, high, sd float64 }

func ofFactor(f calibration.Factor) figure {
	return figure{math.Log(f.Low), math.Log(f.Mid), math.Log(f.High), f.LogSD}
}

func figuresOf(r calibration.Result) map[string]figure {
	ofBand := func(b quantity.Band) figure { return figure{low: b.Low, mid: b.Mid, high: b.High} }
	figures := map[string]figure{
		"windage of the fleet": ofFactor(r.Fleet.Windage), "drag of the fleet": ofFactor(r.Fleet.Drag),
		"between vessels": ofBand(r.BetweenVessels), "between canopies": ofBand(r.BetweenCanopies),
		"noise of drifts": ofBand(r.DriftNoise), "noise of loads": ofBand(r.LoadNoise),
	}
	for _, v := range r.Vessels {
		figures["windage of "+v.Name] = ofFactor(v.Windage)
	}
	for _, c := range r.Canopies {
		figures["drag of "+c.Name] = ofFactor(c.Drag)
	}
	for _, p := range r.Pairs {
		figures["drift of "+p.Vessel+" with "+p.Canopy] = ofFactor(p.Drift)
	}
	return figures
}

func decode(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// fleetOf reads observations from testdata.
func fleetOf(t *testing.T, name string) []calibration.Observation {
	t.Helper()
	file, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var observations []calibration.Observation
	for _, r := range records[1:] {
		o := calibration.Observation{ID: r[0], Vessel: r[1], Canopy: r[2], Kind: calibration.Kind(r[3])}
		for i, v := range []*float64{&o.Predicted, &o.Observed, &o.Share} {
			if *v, err = strconv.ParseFloat(r[4+i], 64); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		observations = append(observations, o)
	}
	return observations
}
