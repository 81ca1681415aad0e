package rode

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// Termination is what a rope ends in. The zero value is none and is refused.
type Termination string

// The terminations with a published retained strength.
const (
	ThimbledSplice Termination = "thimbled_splice"
	Bowline        Termination = "bowline"
	AnchorBend     Termination = "anchor_bend"
	SheetBend      Termination = "sheet_bend"
	TwoHalfHitches Termination = "two_half_hitches"
)

// Terminations lists them in a fixed order.
func Terminations() []Termination {
	return []Termination{ThimbledSplice, Bowline, AnchorBend, SheetBend, TwoHalfHitches}
}

// Sources of the factors, as printed with an answer.
const (
	TerminationSource = "Cordage Institute guidance on knots and splices, share of new dry strength"
	WetSource         = "UFC 4-159-03 (2005) table 3-7: wet nylon keeps 0.85"
	WeatherSource     = "NAVEDTRA 14160: 0.70 after two years in the weather; other times by the same loss a year, our interpolation"
	ChafeSource       = "our assumption: strength falls with the share of the section that is chafed through"
)

const (
	wetFactor     = 0.85 // share of dry strength; WetSource
	twoYearFactor = 0.70 // share of new strength; WeatherSource
)

// Retained gives the share of strength a rope keeps at the termination.
func (t Termination) Retained() (quantity.Band, error) {
	band := func(low, high float64) quantity.Band { return quantity.BandOf(low, (low+high)/2, high) }
	switch t {
	case ThimbledSplice:
		return band(0.90, 0.90), nil
	case Bowline:
		return band(0.67, 0.75), nil
	case AnchorBend:
		return band(0.55, 0.65), nil
	case SheetBend:
		return band(0.48, 0.58), nil
	case TwoHalfHitches:
		return band(0.60, 0.70), nil
	}
	return quantity.Band{}, fmt.Errorf("no retained strength for a termination called %q", string(t))
}

// Condition is the state of a used rope. The zero value is as new.
type Condition struct {
	WeatherYears float64 // years spent in sun and weather, 0 to 15; years in a dry locker do not count
	ChafedShare  float64 // share of the section worn through at the worst place, 0 to 0.5
}

// WeatherFactor gives the share of strength left after a time in the weather in years (0 to 15):
//
//	f = 0.70^(years/2)
//
// so the published two-year figure is met and every year costs the same share.
func WeatherFactor(years float64) (float64, error) {
	if err := quantity.Within("years in the weather", years, 0, 15, "years"); err != nil {
		return 0, err
	}
	return math.Pow(twoYearFactor, years/2), nil
}

// ChafeFactor gives the share of strength left with a share of the section (0 to 0.5) chafed
// through. Beyond one half a rope is to be cut, not computed.
func ChafeFactor(chafedShare float64) (float64, error) {
	if err := quantity.Within("chafed share of the section", chafedShare, 0, 0.5, ""); err != nil {
		return 0, err
	}
	return 1 - chafedShare, nil
}

// Factor is one step from new to as-used strength.
type Factor struct {
	Name   string
	Value  quantity.Band
	Source string
}

// Strength is the breaking strength of a rode, new and as used, with every factor between.
type Strength struct {
	NewN      quantity.Band
	NewSource string
	AsUsedN   quantity.Band
	Factors   []Factor
}

// StrengthOf gives the strength of a rode as used: new strength by construction and diameter in mm,
// times wet, times the worst of its terminations (which counts once, as a rope breaks at one
// place), times weather and chafe. No terminations means none weaker than the rope. The factors are
// taken as independent; the ends of the bands are multiplied, so the result is wide.
func StrengthOf(construction Construction, diameterMM float64, terminations []Termination, condition Condition) (Strength, error) {
	fresh, err := BreakingN(construction, diameterMM)
	if err != nil {
		return Strength{}, err
	}
	return Derate(fresh.Band, fresh.Source, terminations, condition)
}

// Derate is StrengthOf for a rope whose new, dry breaking strength in N (above 0) the user knows.
func Derate(newN quantity.Band, newSource string, terminations []Termination, condition Condition) (Strength, error) {
	for _, n := range []float64{newN.Low, newN.Mid, newN.High} {
		if err := quantity.Within("breaking strength", n, 1, 1e8, "N"); err != nil {
			return Strength{}, err
		}
	}
	weather, err := WeatherFactor(condition.WeatherYears)
	if err != nil {
		return Strength{}, err
	}
	chafe, err := ChafeFactor(condition.ChafedShare)
	if err != nil {
		return Strength{}, err
	}
	factors := []Factor{{"wet", quantity.Exactly(wetFactor), WetSource}}
	if len(terminations) > 0 {
		worst, err := worstOf(terminations)
		if err != nil {
			return Strength{}, err
		}
		factors = append(factors, worst)
	}
	if weather < 1 {
		factors = append(factors, Factor{"weather", quantity.Exactly(weather), WeatherSource})
	}
	if chafe < 1 {
		factors = append(factors, Factor{"chafe", quantity.Exactly(chafe), ChafeSource})
	}
	s := Strength{NewN: newN, NewSource: newSource, AsUsedN: newN, Factors: factors}
	for _, f := range factors {
		s.AsUsedN = quantity.Band{Low: s.AsUsedN.Low * f.Value.Low, Mid: s.AsUsedN.Mid * f.Value.Mid, High: s.AsUsedN.High * f.Value.High}
	}
	return s, nil
}

// worstOf gives the termination with the least middle value; the first of equals.
func worstOf(terminations []Termination) (Factor, error) {
	var worst Factor
	for i, t := range terminations {
		b, err := t.Retained()
		if err != nil {
			return Factor{}, err
		}
		if i == 0 || b.Mid < worst.Value.Mid {
			worst = Factor{string(t), b, TerminationSource}
		}
	}
	return worst, nil
}
