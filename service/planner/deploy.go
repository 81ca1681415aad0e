package planner

import (
	"fmt"
	"strings"

	"rideout/service/physics/hull"
)

// deploy is the work from the first part over the side to a trimmed rode.
func (d *deck) deploy() {
	d.approach()
	switch {
	case d.gear.TripLine != nil && d.gear.Float != nil:
		d.do("foredeck", fmt.Sprintf("Float first, then the trip line, over the %s side. Let them drift clear.", d.windward()),
			"They stay behind to windward and cannot wrap the canopy.", "A loop of trip line over the canopy's edge.")
	case d.gear.TripLine != nil:
		d.do("foredeck", fmt.Sprintf("Trip line over the %s side first, in a long bight. One hand keeps its end.", d.windward()),
			"It must lie clear before the canopy opens.", "A loop of trip line over the canopy's edge.")
	case d.gear.Float != nil:
		d.do("foredeck", fmt.Sprintf("Float over the %s side first.", d.windward()), "It stays clear to windward of the canopy.", "The float's line round the lines of the canopy.")
	}
	d.do("foredeck", fmt.Sprintf("Lower %s in its bag over the %s side, then pull the bag off from below. Never throw it into the wind.", d.canopyText(), d.windward()),
		"She drifts away from what goes over to windward; to leeward she drifts over it.", "A canopy that opens in the air. Feet out of its lines.")
	if d.gear.Chain != nil {
		d.do("foredeck", "Cut the chain's lashings one by one and lower it hand over hand.", "It follows the canopy down without a jerk.", "Hands between chain and rail.")
	}
	d.payOut()
	d.makeFast()
}

// approach is how the hull is held while the gear goes out.
func (d *deck) approach() {
	do, hazard := "Bring her bow to the wind, slow, and let the way come off. Then out of gear. Tell the skipper when she begins to fall back.", "With way ahead she runs over the gear."
	switch d.c.request.Vessel.Hull {
	case hull.SailMonohull, hull.SailMultihull:
		hazard = "With way ahead she runs over the gear. Through the wind the gear comes round the keel or a rudder."
	case hull.PowerPlaning:
		hazard = "Light and high forward, the bow blows off fast: short bursts ahead hold it, never with the gear under her."
	}
	if d.p.Intent == SlowDrift && d.p.Bridle.HeadingDeg >= beamOnFromDeg {
		do = "Lie with the wind abeam, out of gear, and tell the skipper when she moves only sideways."
	}
	d.do("helm", do, "She must move away from the gear, downwind.", hazard)
}

// payOut is the rode in stages, snubbed so that the canopy fills under a rode that still gives.
func (d *deck) payOut() {
	f, snubs := d.p.Canopy.FillingLoadN, d.snubs()
	d.do("line_tender", fmt.Sprintf("Pay out %.0f m. Take one turn and let it slip under the turn while the canopy fills.", snubs[0]),
		fmt.Sprintf("A canopy filling on a held rode pulls about %s kN (%s to %s); one that slips takes the top off it.", kilo(f.Mid), kilo(f.Low), kilo(f.High)),
		"Stand behind the strong point, hands a metre from the turn, no foot in a bight.")
	d.do("foredeck", "Look along the rode: it must draw steadily and her bow come up. If it jerks or hangs, see under trouble.",
		"A canopy that has not filled is best mended now.", "Bent over the rode when it snaps taut.")
	if rest := snubs[1:]; len(rest) > 0 {
		d.do("line_tender", fmt.Sprintf("Pay out on. Snub at %s m, each time until the bow comes up, then ease.", list(rest)),
			"Short holds keep the rode stretched and clear of the hull.", "A rode that runs away: surge it on the turn, never grip it.")
	}
	d.do("line_tender", fmt.Sprintf("Stop at %.0f m out. All of it counts from the %s.", d.firstM(), d.p.Bridle.BowPoint), "By this plan's curve of peak load against length.", "The last turns on the deck come up fast.")
}

func list(lengths []float64) string {
	words := make([]string, len(lengths))
	for i, m := range lengths {
		words[i] = fmt.Sprintf("%.0f", m)
	}
	return strings.Join(words, " and ")
}

// makeFast is the rode at the strong point, the legs and the fairlead.
func (d *deck) makeFast() {
	peak, b := d.p.Loads.PeakN, d.p.Bridle
	d.do("foredeck", fmt.Sprintf("Make fast on the %s with a full turn first. Bring the end back to a second strong point as a preventer.", b.BowPoint),
		fmt.Sprintf("In the worst phase it peaks at %s kN (%s to %s).", kilo(peak.Mid), kilo(peak.Low), kilo(peak.High)), "A rode that parts recoils: stand aside of its line from now on.")
	switch {
	case b.Arrangement == "square":
		d.do("foredeck", "Trim both legs to one length. Take the strain on both before the rode is let go to them.", fmt.Sprintf("Each leg can have %s kN when the wind shifts.", kilo(b.LegLoads.BowN.Mid)), "Hands between leg and bow.")
	case d.twoLegs():
		d.do("line_tender", fmt.Sprintf("Bend the leg from the %s to the rode inboard, at the %s. Ease %.1f m of rode from there and make it fast again. Set the leg to %.1f m. Heading wanted: %.0f degrees off, wind on the %s side.", b.AftPoint, b.BowPoint, b.BowLegM, b.AftLegM, b.HeadingDeg, b.Side),
			fmt.Sprintf("At the peak the bow leg has %s kN and the aft leg %s kN.", kilo(b.LegLoads.BowN.Mid), kilo(b.LegLoads.AftN.Mid)), "Set it while the rode is slack between two seas. Never a knot by hand under load.")
	}
	if d.gear.Chafe {
		d.do("foredeck", "Slide the chafe gear into the fairlead and tie it.", "The nip is where the rode wears.", "Fingers between rode and fairlead: only while it is slack.")
	} else {
		d.do("foredeck", "Slide the wrapping into the fairlead and tie it.", "The nip is where the rode wears.", "Fingers between rode and fairlead: only while it is slack.")
	}
	d.do("skipper", fmt.Sprintf("Watch ten waves. Heading about %.0f degrees off the wind, rode not long slack, drift about %.1f kt. Then all hands aft, engine off.", b.HeadingDeg, d.c.lyingPhase().Loads.DriftKt.Mid),
		"A fault shows now.", "Calling it done too early.")
}
