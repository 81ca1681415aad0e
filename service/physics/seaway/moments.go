package seaway

import "math"

// Moment returns the spectral moment m_n, the integral of omega^n S, in m2 (rad/s)^n. Orders -1 to 4
// are of use; from 4 on a spectrum with the usual tail has none without a cut.
func (s Spectrum) Moment(n int) float64 {
	return s.Integrate(func(w, density float64) float64 { return math.Pow(w, float64(n)) * density })
}

// SignificantHeight returns Hm0 = 4 sqrt(m0) in m.
func (s Spectrum) SignificantHeight() float64 { return 4 * math.Sqrt(s.Moment(0)) }

// MeanPeriodT1 returns the mean period 2 pi m0/m1 in s; zero for a calm.
func (s Spectrum) MeanPeriodT1() float64 { return s.period(s.Moment(0), s.Moment(1)) }

// ZeroCrossingPeriodTz returns the mean zero up-crossing period 2 pi sqrt(m0/m2) in s; zero for a
// calm. It depends on where the spectrum is cut: cut at five peak frequencies it is 1 to 3 % longer.
func (s Spectrum) ZeroCrossingPeriodTz() float64 {
	return s.period(math.Sqrt(s.Moment(0)), math.Sqrt(s.Moment(2)))
}

// EnergyPeriodTe returns the energy period 2 pi m(-1)/m0 in s; zero for a calm.
func (s Spectrum) EnergyPeriodTe() float64 { return s.period(s.Moment(-1), s.Moment(0)) }

func (s Spectrum) period(above, below float64) float64 {
	if below == 0 {
		return 0
	}
	return 2 * math.Pi * above / below
}

// PeakPeriod returns the period in s of the highest density, found between grid points by a parabola
// through the highest three and so within half a step; zero for a calm.
func (s Spectrum) PeakPeriod() float64 {
	peak := 0
	for i, density := range s.DensityM2S {
		if density > s.DensityM2S[peak] {
			peak = i
		}
	}
	if peak == 0 {
		return 0
	}
	at := float64(peak)
	if peak < len(s.DensityM2S)-1 {
		left, mid, right := s.DensityM2S[peak-1], s.DensityM2S[peak], s.DensityM2S[peak+1]
		at += (left - right) / (2 * (left - 2*mid + right))
	}
	return 2 * math.Pi / (at * s.StepRadS)
}

// Width returns the spectral width nu = sqrt(m0 m2/m1^2 - 1); zero for a single frequency or a calm.
//
// Source: Longuet-Higgins (1975), On the joint distribution of the periods and amplitudes of sea
// waves, J. Geophys. Res. 80.
func (s Spectrum) Width() float64 {
	m0, m1, m2 := s.Moment(0), s.Moment(1), s.Moment(2)
	if m1 == 0 {
		return 0
	}
	return math.Sqrt(math.Max(0, m0*m2/(m1*m1)-1)) // rounding may bring it under zero
}

// PeriodRatios returns Tz/Tp and T1/Tp of a JONSWAP spectrum without a cut, for gamma 1 to 7, by a
// polynomial. At gamma 1 both are 0.0015 above the exact values, from 3.3 on within 0.0005; the
// use is to get a peak period from a mean one before there is a spectrum.
//
// Source: DNV-RP-C205 (2010), sec. 3.5.5, from memory.
func PeriodRatios(gamma float64) (tzOverTp, t1OverTp float64, err error) {
	if err := checkGamma(gamma); err != nil {
		return 0, 0, err
	}
	g := gamma
	tzOverTp = 0.6673 + g*(0.05037+g*(-0.006230+g*0.0003341))
	t1OverTp = 0.7303 + g*(0.04936+g*(-0.006556+g*0.0003610))
	return tzOverTp, t1OverTp, nil
}
