package hull

import (
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// FormDragAstern is the drag coefficient of a hull driven slowly astern or ahead, on the mean
// immersed section (displacement volume / waterline length).
var FormDragAstern = constant.Coefficient{
	Band:   quantity.Band{Low: 0.3, Mid: 0.5, High: 0.8},
	Source: "our estimate between a streamlined body (0.1) and a box barge (1.0); no source",
}

// FormDragBeam is the drag coefficient of a hull driven sideways, on waterline length times draught.
var FormDragBeam = constant.Coefficient{
	Band:   quantity.Band{Low: 0.5, Mid: 0.8, High: 1.2},
	Source: "current load on a ship beam-on in deep water, 0.5-1.2 by form; mooring texts, from memory",
}

// WettedSurfaceM2 returns the wetted surface in m2: S = 1.7 T L + V/T with draught T, waterline
// length L and displaced volume V.
//
// Limits: ship-like bodies; a fin keel makes the first term too large.
// Source: UFC 4-159-03 (2005), eq. 17-20.
func (h Hull) WettedSurfaceM2() float64 {
	t, l := h.DraughtM, h.LWLM
	v := h.DisplacementKg / constant.SeaWaterDensity.Value
	return 1.7*t*l + v/t
}

// FrictionCoefficient returns the ITTC-57 coefficient CF = 0.075/(log10 Re - 2)^2 at a speed
// through the water in m/s; Re is on the waterline length. Below Re 1e4 (no hull is so slow and
// small) the formula loses meaning and the value there is returned.
//
// Source: ITTC 1957 ship-model correlation line; UFC 4-159-03 eq. 19.
func (h Hull) FrictionCoefficient(speedMS float64) float64 {
	re := math.Max(math.Abs(speedMS)*h.LWLM/constant.SeaWaterViscosity.Value, 1e4)
	return 0.075 / sq(math.Log10(re)-2)
}

// FrictionN returns the skin friction in N at a speed through the water in m/s, along the hull.
func (h Hull) FrictionN(speedMS float64) float64 {
	return 0.5 * constant.RhoWater * h.WettedSurfaceM2() * h.FrictionCoefficient(speedMS) * speedMS * speedMS
}

// DragAreaAsternM2 returns CdA in m2, so that the force in N is 1/2 rho CdA v^2: the immersed
// section times its form drag, and the friction at 1 m/s, a drift speed.
func (h Hull) DragAreaAsternM2() quantity.Band {
	section := h.DisplacementKg / constant.SeaWaterDensity.Value / h.LWLM
	friction := h.WettedSurfaceM2() * h.FrictionCoefficient(1)
	b := FormDragAstern.Scale(section)
	return quantity.Band{Low: b.Low + friction, Mid: b.Mid + friction, High: b.High + friction}
}

// DragAreaBeamM2 returns CdA in m2 of the hull driven sideways.
func (h Hull) DragAreaBeamM2() quantity.Band { return FormDragBeam.Scale(h.LWLM * h.DraughtM) }

func sq(x float64) float64 { return x * x }
