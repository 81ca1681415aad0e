package hardware

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Sources of the metal parts' figures, as printed with an answer.
const (
	ShackleSource  = "supplier sheet labelled RR-C-271 / EN 13889, forged carbon bow shackles; stainless ones differ, see the maker"
	SideLoadSource = "supplier sheet: 70 % at 45 degrees from the shackle's line, 50 % at 90; straight between, our choice"
	ChainSource    = "NACM 2003 working load limits, supplier copy; between its sizes on logarithms"
)

// shackleWLL is body diameter in mm and working load limit in metric tonnes; source: ShackleSource.
var shackleWLL = []struct{ bodyMM, wllT float64 }{
	{6, 0.5}, {8, 0.75}, {10, 1.0}, {11, 1.5}, {13, 2.0}, {16, 3.25}, {19, 4.75}, {22, 6.5}, {25, 8.5}, {28, 9.5}, {32, 12}, {35, 13.5}, {38, 17},
}

// ShackleWLLN gives the working load limit in N of a bow shackle by the diameter of its body in mm
// (6 to 40), pulled in line. A size between two of the table takes the figure of the smaller, whose
// size is returned too.
func ShackleWLLN(bodyMM float64) (wllN, listedMM float64, err error) {
	if err := quantity.Within("shackle body", bodyMM, shackleWLL[0].bodyMM, 40, "mm"); err != nil {
		return 0, 0, err
	}
	for _, s := range shackleWLL {
		if s.bodyMM <= bodyMM {
			wllN, listedMM = s.wllT*1000*quantity.NewtonsPerKilogramF, s.bodyMM
		}
	}
	return wllN, listedMM, nil
}

// SideLoadFactor gives the share of its working load a shackle keeps when pulled at an angle from
// its line (0 to 90 degrees): 1, 0.70 at 45 degrees, 0.50 at 90. Source: SideLoadSource.
func SideLoadFactor(offLine quantity.Angle) (float64, error) {
	deg := offLine.Degrees()
	if err := quantity.Within("angle off the shackle's line", deg, 0, 90+1e-9, "deg"); err != nil {
		return 0, err
	}
	if deg <= 45 {
		return 1 + (0.70-1)*deg/45, nil
	}
	return 0.70 + (0.50-0.70)*(deg-45)/45, nil
}

// Shackle is the link of a bow shackle by the diameter of its body in mm, pulled at an angle off
// its line.
func Shackle(name string, bodyMM float64, offLine quantity.Angle) (Link, error) {
	wll, listed, err := ShackleWLLN(bodyMM)
	if err != nil {
		return Link{}, err
	}
	side, err := SideLoadFactor(offLine)
	if err != nil {
		return Link{}, err
	}
	basis := fmt.Sprintf("working load of a %g mm shackle (%s)", listed, ShackleSource)
	if side < 1 {
		basis += fmt.Sprintf("; x %.2f at %.0f degrees (%s)", side, offLine.Degrees(), SideLoadSource)
	}
	return Link{name, KindShackle, wll * side, MetalWorkingLoad, 1, basis}, nil
}

// Swivel is the link of a swivel by its maker's working load in N: no table holds for all makes.
func Swivel(name string, workingLoadN float64) Link {
	return Link{name, KindSwivel, workingLoadN, MetalWorkingLoad, 1, "working load as given by the maker"}
}

// Grade is the grade of a welded chain in the North American system.
type Grade int

// The grades with a table.
const (
	Grade30 Grade = 30 // proof coil
	Grade43 Grade = 43 // high test
	Grade70 Grade = 70 // transport
)

// chainWLL is size in inches and working load limit in lbf by grade; source: ChainSource.
var chainWLL = []struct{ sizeIn, g30, g43, g70 float64 }{
	{0.25, 1300, 2600, 3150},
	{0.3125, 1900, 3900, 4700},
	{0.375, 2650, 5400, 6600},
	{0.4375, 3700, 7200, 8750},
	{0.5, 4500, 9200, 11300},
	{0.625, 6900, 13000, 15800},
	{0.75, 10600, 20200, 24700},
}

// Chain sizes covered, mm. The table runs from 6.35 to 19.05; the nearest metric sizes beyond are
// reached by the square of the size.
const (
	MinChainMM = 6.0
	MaxChainMM = 20.0
)

// ChainWLLN gives the working load limit in N of chain by size (diameter of the link's wire) in mm
// (6 to 20) and grade. Source: ChainSource.
func ChainWLLN(sizeMM float64, grade Grade) (float64, error) {
	if err := quantity.Within("chain size", sizeMM, MinChainMM, MaxChainMM, "mm"); err != nil {
		return 0, err
	}
	column := func(i int) float64 {
		switch r := chainWLL[i]; grade {
		case Grade30:
			return r.g30
		case Grade43:
			return r.g43
		case Grade70:
			return r.g70
		}
		return 0
	}
	if column(0) == 0 {
		return 0, fmt.Errorf("no working load for chain of grade %d", int(grade))
	}
	in, last := sizeMM/(1000*quantity.MetresPerInch), len(chainWLL)-1
	lbf := func(i int, exponent float64) float64 {
		return column(i) * math.Pow(in/chainWLL[i].sizeIn, exponent) * quantity.NewtonsPerPoundForce
	}
	if in < chainWLL[0].sizeIn {
		return lbf(0, 2), nil
	}
	for i := range last {
		if a, b := chainWLL[i], chainWLL[i+1]; in <= b.sizeIn {
			return lbf(i, math.Log(column(i+1)/column(i))/math.Log(b.sizeIn/a.sizeIn)), nil
		}
	}
	return lbf(last, 2), nil
}

// ChainMassKgM gives the mass in kg/m of short-link chain by the diameter of its wire d in mm (6 to
// 20): 0.0225 d^2.
//
// Source: short-link anchor chain after ISO 4565, about 1.4 kg/m at 8 mm and 2.25 at 10, from memory;
// within 5 % between makers.
func ChainMassKgM(sizeMM float64) (float64, error) {
	if err := quantity.Within("chain size", sizeMM, MinChainMM, MaxChainMM, "mm"); err != nil {
		return 0, err
	}
	return 0.0225 * sizeMM * sizeMM, nil
}

// ChainOf is the link of a length of chain by size in mm and grade.
func ChainOf(name string, sizeMM float64, grade Grade) (Link, error) {
	wll, err := ChainWLLN(sizeMM, grade)
	if err != nil {
		return Link{}, err
	}
	return Link{name, KindChain, wll, MetalWorkingLoad, 1, fmt.Sprintf("working load of %g mm chain, grade %d (%s)", sizeMM, int(grade), ChainSource)}, nil
}

// ChainBreakN gives the least breaking force in N of chain by size in mm (2 to 60) and grade as the
// mean stress at breaking in N/mm2 (100 to 1500) over both legs of a link:
//
//	F = grade x 2 x pi d^2/4
//
// Source: the definition of a chain grade as mean stress at breaking, with a published worked
// value.
func ChainBreakN(sizeMM, gradeNmm2 float64) (float64, error) {
	if err := quantity.Within("chain size", sizeMM, 2, 60, "mm"); err != nil {
		return 0, err
	}
	if err := quantity.Within("chain grade", gradeNmm2, 100, 1500, "N/mm2"); err != nil {
		return 0, err
	}
	return gradeNmm2 * 2 * math.Pi * sizeMM * sizeMM / 4, nil
}
