package planner

import (
	"fmt"
	"math"

	"rideout/service/physics/constant"
	"rideout/service/physics/hardware"
	"rideout/service/physics/quantity"
	"rideout/service/physics/rode"
)

// What brings a canopy back. None of it was measured on a canopy; each source says so.
var (
	haulingMS = constant.Coefficient{
		Band: Band{Low: 0.2, Mid: 0.25, High: 0.3}, Source: "our choice, about the line speed of small windlasses, from memory",
	}
	streamingShare = constant.Coefficient{
		Band: Band{Low: 0.03, Mid: 0.06, High: 0.12}, Source: "our estimate of the drag area of a canopy pulled crown first over its nominal area; no trial found",
	}
	clothKgM2 = constant.Coefficient{
		Band: Band{Low: 0.1, Mid: 0.2, High: 0.35}, Source: "our estimate, light nylon cloth with its lines; no source",
	}
	heldWaterShare = constant.Coefficient{
		Band: Band{Low: 0.002, Mid: 0.005, High: 0.01}, Source: "our estimate of the water left in the folds at the rail, over that of the full canopy as a half sphere; no trial found",
	}
	pullOfOneN = constant.Coefficient{
		Band: Band{Low: 250, Mid: 300, High: 400}, Source: "sustained pull of one person on a wet line, 250 to 400 N, from memory",
	}
)

const (
	usualTripLineMM = 12.0
	usualHaulers    = 2 // where nobody is named
	mostHaulers     = 3 // who find room at one line
	floatReserve    = 1.5
)

// hauling is the pull that brings the gear back, when the limits of retrieval are met.
func (c *computation) hauling() (*Hauling, error) {
	h := &Hauling{}
	weights, err := c.weights()
	if err != nil {
		return nil, err
	}
	h.ByTripLineN = c.pullByTripLine(weights)
	if h.ByRodeN, err = c.pullByRode(weights); err != nil {
		return nil, err
	}
	h.AvailableN, h.From = c.available()
	h.FloatNeedsN = math.Round(floatReserve * (weights.cloth.High + weights.line + weights.chain + weights.rode/2))
	g := c.request.Gear
	if g != nil && g.Float != nil {
		h.FloatHasN = g.Float.BuoyancyN
	}
	lengthM := c.timetable.mostOutM
	need := h.ByRodeN.Mid
	if g != nil && g.TripLine != nil {
		lengthM, need = lengthM+g.TripLine.LengthM, h.ByTripLineN.Mid
	}
	// A pull beyond what is there is made by a tackle, which takes as much more line.
	h.MinutesByIt = math.Ceil(lengthM / haulingMS.Mid / 60 * math.Max(1, need/h.AvailableN))
	for _, b := range []*Band{&h.ByTripLineN, &h.ByRodeN} {
		*b = each(*b, sig3)
	}
	h.Text = c.haulingText(*h, c.overRail(weights))
	c.noteHauling(*h, weights)
	c.warnOfTripLine()
	return h, nil
}

// retrievalParts adds trip line and float to the hardware. They bear what bringing the gear back asks, not the rode's
// load, so neither can govern.
func (c *computation) retrievalParts() error {
	g, h := c.request.Gear, c.plan.Crew.Hauling
	if g == nil || h == nil {
		return nil
	}
	if t := g.TripLine; t != nil {
		mm, basis := t.DiameterMM, ""
		if mm == 0 {
			mm, basis = usualTripLineMM, fmt.Sprintf("diameter not given, %.0f mm assumed; ", usualTripLineMM)
		}
		strength, err := rode.StrengthOf(rode.Plaited, math.Max(mm, rode.MinDiameterMM), usualTerminations, rode.Condition{})
		if err != nil {
			return err
		}
		c.besideRode("trip line", strength.AsUsedN.Low/c.policy.Factors.RopeFactor, h.ByTripLineN.High,
			basis+"taken as plaited nylon, wet and spliced, factor on rope; floating lines are weaker: see the maker. Demand: the high end of hauling by it in flat water")
	}
	if g.Float != nil {
		c.besideRode("float", g.Float.BuoyancyN, h.FloatNeedsN, fmt.Sprintf("buoyancy as given; demand: trip line, cloth, chain and half the rode in water, times %.1f (our choice)", floatReserve))
	}
	return nil
}

func (c *computation) besideRode(part string, capacityN, demandN float64, basis string) {
	p := Part{Part: part, CapacityN: math.Round(capacityN), DemandN: math.Round(demandN), Use: r3(demandN / capacityN), Verdict: string(hardware.Within), Basis: basis}
	switch {
	case p.Use > 1:
		p.Verdict = string(hardware.Over)
	case p.Use > c.policy.Factors.MarginalAbove:
		p.Verdict = string(hardware.Marginal)
	}
	c.plan.Hardware = append(c.plan.Hardware, p)
}

// warnOfTripLine holds the trip line carried against the length recommended.
func (c *computation) warnOfTripLine() {
	g := c.request.Gear
	if g == nil || g.TripLine == nil {
		return
	}
	if least := c.tripLineM(); g.TripLine.LengthM < least {
		c.book.warn("trip_line_short", "The trip line of %.0f m is shorter than the %.0f m recommended for a canopy hanging %.0f m down: its float may be drawn under, or its pull may trip the canopy.", g.TripLine.LengthM, least, c.plan.Canopy.DepthM)
	}
}

// tripLineM is the least length of a trip line: from the crown to the float with slack; common practice, no source.
func (c *computation) tripLineM() float64 {
	return math.Ceil(c.plan.Canopy.DepthM + 2*c.rig.canopy.DiameterM())
}

// inWater are weights in water in N, but the cloth's mass in kg too, for the rail.
type inWater struct {
	cloth             Band // N
	clothKg           Band
	line, chain, rode float64 // N
}

func (c *computation) weights() (w inWater, err error) {
	w.clothKg = clothKgM2.Scale(c.rig.canopy.NominalAreaM2())
	afloat := func(kg float64) float64 { return kg * constant.G * (1 - constant.RhoWater/rode.NylonDensity.Value) }
	w.cloth = each(w.clothKg, afloat)
	w.chain, w.rode = c.rig.sinkerN, c.rig.weightNM*c.timetable.mostOutM
	if g := c.request.Gear; g != nil && g.TripLine != nil {
		mm := g.TripLine.DiameterMM
		if mm == 0 {
			mm = usualTripLineMM
		}
		var perM float64
		if perM, err = rode.MassPerMetreKg(rode.DoubleBraid, math.Max(mm, rode.MinDiameterMM)); err != nil {
			return w, err
		}
		w.line = afloat(perM * g.TripLine.LengthM)
	}
	return w, nil
}

// pullByTripLine is the pull through the water, crown first.
func (c *computation) pullByTripLine(w inWater) Band {
	at := func(v, share, cloth float64) float64 {
		drag := 0.5 * constant.RhoWater * share * c.rig.canopy.NominalAreaM2() * v * v
		return drag + cloth + w.line + w.chain + w.rode/2
	}
	return quantity.BandOf(
		at(haulingMS.Low, streamingShare.Low, w.cloth.Low), at(haulingMS.Mid, streamingShare.Mid, w.cloth.Mid), at(haulingMS.High, streamingShare.High, w.cloth.High))
}

// overRail is the lift that brings the canopy aboard with what water its folds still hold, whichever way it came.
func (c *computation) overRail(w inWater) Band {
	held := c.rig.canopy.EnclosedKg()
	at := func(kg, enclosed, share float64) float64 { return constant.G * (kg + share*enclosed) }
	return quantity.BandOf(
		at(w.clothKg.Low, held.Low, heldWaterShare.Low), at(w.clothKg.Mid, held.Mid, heldWaterShare.Mid), at(w.clothKg.High, held.High, heldWaterShare.High))
}

// pullByRode is that of the full canopy through the water; at the high end the vessel is pulled up to it against
// the wind of the limit, without her engine.
func (c *computation) pullByRode(w inWater) (Band, error) {
	var n [3]float64
	for i, v := range []float64{haulingMS.Low, haulingMS.Mid, haulingMS.High} {
		drag, err := c.rig.canopy.DragN(v)
		if err != nil {
			return Band{}, err
		}
		n[i] = []float64{drag.Low, drag.Mid, drag.High}[i] + w.chain + w.rode/2
	}
	wind, err := c.ship.windForceN(quantity.MetresPerSecond(c.policy.RetrieveBelowKt))
	return quantity.BandOf(n[0], n[1], n[2]+wind), err
}

// available is the pull there is: the windlass, or the hands free to haul.
func (c *computation) available() (n float64, from string) {
	if w := c.request.Vessel.WindlassPullN; w > 0 {
		return w, "windlass"
	}
	c.book.assumeCoefficient("pull of one person", pullOfOneN, "N", "no windlass is named")
	return float64(c.haulers()) * pullOfOneN.Mid, "crew"
}

// haulers are the hands at the line: all named but the helm, at most as many as find room.
func (c *computation) haulers() int {
	if len(c.request.Crew) == 0 {
		return usualHaulers
	}
	return min(max(len(c.request.Crew)-1, 1), mostHaulers)
}

func (c *computation) noteHauling(h Hauling, w inWater) {
	b := &c.book
	b.assumeCoefficient("hauling speed", haulingMS, "m/s", "for the pull that brings the canopy back")
	b.assumeCoefficient("drag area of the tripped canopy over its nominal area", streamingShare, "", "for hauling by its crown")
	b.assumeCoefficient("mass of cloth and lines", clothKgM2, "kg/m2", "the maker's figure is not known")
	b.assumeCoefficient("water left in the canopy at the rail", heldWaterShare, "", "for lifting it aboard")
	b.work("hauling", "Pull that brings the canopy back", "crown first: 1/2 rho s S0 v^2 + Wl + Wc + Wr + cloth in water; by the rode: 1/2 rho Cd0 S0 v^2 + Wc + Wr; over the rail: g (mc + k me)", "definition of the drag coefficient; see the assumptions",
		val("v", "hauling speed", haulingMS.Mid, "m/s"), val("s", "drag area tripped over nominal area", streamingShare.Mid, ""), val("S0", "nominal area", c.rig.canopy.NominalAreaM2(), "m2"),
		val("k", "share of the enclosed water", heldWaterShare.Mid, ""), val("me", "enclosed water", c.rig.canopy.EnclosedKg().Mid, "kg"), val("mc", "cloth and lines", w.clothKg.Mid, "kg"),
		val("Wl", "line to the crown, in water", w.line, "N"), val("Wc", "chain, in water", w.chain, "N"), val("Wr", "half of the rode, in water", w.rode/2, "N"),
		result("Ft", "pull by the crown", h.ByTripLineN.Mid, "N"), result("Fr", "pull by the rode", h.ByRodeN.Mid, "N"), result("Fl", "lift over the rail", c.overRail(w).Mid, "N"))
}

// force prints a small force in N and a greater in kN.
func force(n float64) string {
	if n < 995 {
		return fmt.Sprintf("%.0f N", significant(n, 2))
	}
	return kilo(n) + " kN"
}

func (c *computation) haulingText(h Hauling, rail Band) string {
	g := c.request.Gear
	by, need := "by the rode, the engine taking her up to it", h.ByRodeN
	if g != nil && g.TripLine != nil {
		by, need = "by the trip line, the canopy coming crown first", h.ByTripLineN
	}
	has := fmt.Sprintf("The windlass pulls %s", force(h.AvailableN))
	if h.From == "crew" {
		has = fmt.Sprintf("%s %s", numberText(c.haulers()), force(h.AvailableN))
	}
	text := fmt.Sprintf("About %s (%s to %s) %s. %s", force(need.Mid), force(need.Low), force(need.High), by, has)
	switch {
	case need.High <= h.AvailableN:
		text += ": enough."
	case need.Mid <= h.AvailableN:
		text += ": enough at the middle, not at the high end."
	default:
		text += ": NOT enough by itself. Use a winch or a tackle, and take the slack as she pitches."
	}
	if g != nil && g.TripLine != nil {
		text += fmt.Sprintf(" Without it the canopy resists with %s (%s to %s).", force(h.ByRodeN.Mid), force(h.ByRodeN.Low), force(h.ByRodeN.High))
		switch {
		case g.Float == nil:
			text += fmt.Sprintf(" No float is carried for its end: one of %.0f N would do.", h.FloatNeedsN)
		case h.FloatHasN < h.FloatNeedsN:
			text += fmt.Sprintf(" The float carries %.0f N and needs %.0f N: it may be drawn under.", h.FloatHasN, h.FloatNeedsN)
		default:
			text += fmt.Sprintf(" The float carries %.0f N; %.0f N are needed.", h.FloatHasN, h.FloatNeedsN)
		}
	}
	return text + fmt.Sprintf(" Over the rail, with what its folds still hold, it weighs %s (%s to %s): let it drain first. Figures are for a steady haul in flat water; as she pitches the line jerks to several times that. Reckon with %.0f minutes.",
		force(rail.Mid), force(rail.Low), force(rail.High), h.MinutesByIt)
}

func numberText(n int) string {
	if n == 1 {
		return "One person pulls"
	}
	return fmt.Sprintf("%d people pull", n)
}
