// Package rode computes the nylon line between vessel and canopy: its strength new and as used, its
// stretch under slow and under wave-frequency load, its weight and the depth it lets the canopy
// hang at, and what a storm costs of its life.
//
// The stiffness of nylon under cycling load is several times that of the slow curve in a data sheet
// and is the figure the peak loads hang on most, so it is kept apart and given as a band.
package rode

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// Construction is how a nylon rope is made. The zero value is no construction and is refused.
type Construction string

// The constructions covered.
const (
	ThreeStrand Construction = "three_strand"
	DoubleBraid Construction = "double_braid"
	Plaited     Construction = "plaited"
)

// Constructions lists them in a fixed order.
func Constructions() []Construction { return []Construction{ThreeStrand, DoubleBraid, Plaited} }

// Sources of strength and weight, as printed with an answer.
const (
	ThreeStrandSource = "industrial table of minimum tensile strength of three-strand nylon, Cordage Institute style (edition not confirmed), between its sizes on logarithms"
	PlaitedSource     = "taken as three-strand nylon of the same diameter, our assumption; " + ThreeStrandSource
	DoubleBraidSource = "UFC 4-159-03 (2005) table 6-8, double braid nylon, between its sizes on logarithms; the band is what the printed digit of the diameter leaves open"
	BelowTableSource  = "; below 25.4 mm by the square of the diameter, our extension"
)

const mmPerInch = 1000 * quantity.MetresPerInch

// size is one row of a rope table.
type size struct{ diameterIn, figure float64 }

// Minimum tensile strength in lbf; source: ThreeStrandSource.
var threeStrandLbf = []size{
	{0.25, 1490},
	{0.3125, 2300},
	{0.375, 3340},
	{0.4375, 4500},
	{0.5, 5750},
	{0.5625, 7200},
	{0.625, 9350},
	{0.75, 12800},
	{0.8125, 15300},
	{0.875, 18000},
	{1.0625, 26000},
	{1.25, 33800},
	{1.5, 47800},
	{2.0, 83000},
}

// Weight in lb per 100 ft; source: ThreeStrandSource.
var threeStrandLbPer100ft = []size{
	{0.25, 1.5},
	{0.3125, 2.5},
	{0.375, 3.5},
	{0.4375, 5.0},
	{0.5, 6.5},
	{0.5625, 8.15},
	{0.625, 10.5},
	{0.75, 14.5},
	{0.8125, 17},
	{0.875, 20},
	{1.0625, 29},
	{1.25, 40},
	{1.5, 55},
	{2.0, 95},
}

// Breaking strength in kN; source: UFC 4-159-03 (2005) table 6-8, dry.
var doubleBraidKN = []size{{1.0, 149.5}, {1.2, 231.3}, {1.6, 404.8}, {2.5, 1023}}

// Diameters covered, mm.
const (
	MinDiameterMM            = 6.35 // 1/4 in, the smallest three-strand size of the table
	MaxThreeStrandDiameterMM = 50.8
	MinDoubleBraidMM         = 8.0 // our limit to the extension below the table
	MaxDoubleBraidMM         = 63.5
)

// BreakingN gives the breaking strength in N of new, dry rope by construction and nominal diameter
// in mm (three-strand and plaited 6.35 to 50.8, double braid 8 to 63.5), with its source.
//
// The three-strand figure is a guaranteed minimum and has no width. The double braid table prints
// its diameters to 0.1 in, so a strength read at a diameter is open by twice that rounding.
func BreakingN(construction Construction, diameterMM float64) (constant.Coefficient, error) {
	switch construction {
	case ThreeStrand, Plaited:
		lbf, err := interpolate(threeStrandLbf, diameterMM)
		if err != nil {
			return constant.Coefficient{}, err
		}
		source := ThreeStrandSource
		if construction == Plaited {
			source = PlaitedSource
		}
		return constant.Coefficient{Band: quantity.Exactly(lbf * quantity.NewtonsPerPoundForce), Source: source}, nil
	case DoubleBraid:
		return doubleBraidN(diameterMM)
	}
	return constant.Coefficient{}, fmt.Errorf("no strength for a rope of construction %q", string(construction))
}

func doubleBraidN(diameterMM float64) (constant.Coefficient, error) {
	if err := quantity.Within("double braid diameter", diameterMM, MinDoubleBraidMM, MaxDoubleBraidMM, "mm"); err != nil {
		return constant.Coefficient{}, err
	}
	first, in, source := doubleBraidKN[0], diameterMM/mmPerInch, DoubleBraidSource
	var n float64
	if in < first.diameterIn {
		n, source = 1000*first.figure*math.Pow(in/first.diameterIn, 2), source+BelowTableSource
	} else {
		kn, err := interpolate(doubleBraidKN, diameterMM)
		if err != nil {
			return constant.Coefficient{}, err
		}
		n = 1000 * kn
	}
	// 0.05 in on a strength that goes as the square; below the table the row it hangs on counts.
	open := 2 * 0.05 / math.Max(in, first.diameterIn)
	return constant.Coefficient{Band: quantity.BandOf(n*(1-open), n, n*(1+open)), Source: source}, nil
}

// interpolate reads a table between its rows on logarithms of both columns, which is exact for a
// power law.
func interpolate(table []size, diameterMM float64) (float64, error) {
	first, last := table[0], table[len(table)-1]
	if err := quantity.Within("rope diameter", diameterMM, first.diameterIn*mmPerInch, last.diameterIn*mmPerInch, "mm"); err != nil {
		return 0, err
	}
	i := 1
	for i < len(table)-1 && diameterMM > table[i].diameterIn*mmPerInch {
		i++
	}
	a, b := table[i-1], table[i]
	w := math.Log(diameterMM/(a.diameterIn*mmPerInch)) / math.Log(b.diameterIn/a.diameterIn)
	return a.figure * math.Pow(b.figure/a.figure, w), nil
}
