package planner

import (
	"fmt"

	"rideout/service/physics/hull"
)

// lie is the work while she lies to it.
func (d *deck) lie() {
	d.lyingAlready()
	d.do("helm", d.helmText(), "When a sea throws her astern, water drives the rudder backwards against its stops.", "A free wheel or tiller breaks wrists.")
	d.watchStep()
	d.phaseSteps()
	if d.twoLegs() && d.p.Bridle.Arrangement != "square" {
		d.do("line_tender", fmt.Sprintf("Keep the leg to the %s so that it can be eased or slipped at once. When the wind shifts before the sea: %s.", d.p.Bridle.AftPoint, d.shiftText()),
			"She follows the wind; the old sea does not.", "A loaded leg is eased from a turn, never cast off by hand.")
	}
	d.do("lookout", "Keep a look-out all round, by eye, ear, radar and AIS. Call ships early on channel 16, by position.",
		"She cannot get out of the way.", "Below in the warm, with nobody looking.")
	p := d.c.lyingPhase()
	d.do("lookout", fmt.Sprintf("Log the position each hour. The drift through the water should be %.1f to %.1f kt at first, current on top.", p.Loads.DriftKt.Low, p.Loads.DriftKt.High),
		"Faster means that the canopy is fouled, tripped or too high in the water.", "A shore that comes up unnoticed.")
	d.do("skipper", "Send everyone not on watch below, low and amidships, wedged in. Eat, drink, take seasickness tablets early.",
		"Rest is what the sea anchor is for.", "Cold and seasickness make mistakes at the next turn on deck.")
	if d.p.Intent == Drill {
		d.do("skipper", "Drill: lie for at least half an hour. Shift the nip once, read the heading and the drift, and write both down.", "What is measured now makes the next plan better.", "A drill that goes on into worse weather.")
	}
	if d.p.Intent == SlowDrift {
		d.do("skipper", "Keep fishing lines and nets clear of rode and canopy, on the lee side.", "They tangle where nobody can reach.", "Hooks in a rode that must be handled.")
	}
	if d.p.Intent == RepairOrRest {
		d.do("skipper", "Do the repair in its order, one hand always on watch at the rode.", "The sea anchor needs eyes while the others work below.", "All heads in the engine space.")
	}
}

// lyingAlready holds what was reported of her against what is there.
func (d *deck) lyingAlready() {
	if d.c.request.Lying == nil {
		return
	}
	do := "She lies to it already; how much is out was not reported."
	if m := d.c.request.Lying.RodeOutM; m > 0 {
		do = fmt.Sprintf("She lies to it already, on %.0f m as it was reported.", m)
	}
	d.do("skipper", do+" Read the rode out, the heading and the drift, and hold them against this plan before anything is changed.",
		"The plan knows only what was reported. "+orderOfWork, "Going forward to look: clipped on, between two seas.")
}

func (d *deck) helmText() string {
	switch d.c.request.Vessel.Hull {
	case hull.PowerPlaning:
		return "Lock the steering amidships. Lift drives or outboards clear of the water if the skipper can spare the engine."
	case hull.SailMultihull:
		return "Lash both rudders amidships, and lift them if they can be lifted."
	case hull.SailMonohull:
		return "Lash the tiller or wheel amidships, to both sides, with some give."
	}
	return "Lock or lash the helm amidships."
}

func (d *deck) watchStep() {
	p := d.c.lyingPhase()
	spare := d.c.carriedM - d.mostM()
	do := fmt.Sprintf("Every %s go and look, clipped on: fairlead, rode, strong point, metal parts in sight. Ease a hand's breadth each time, and note it.", everyText(d.c.watchEveryH(p)))
	if d.p.Rode.CarriedM != nil && spare < 2 {
		do = fmt.Sprintf("Every %s go and look, clipped on: fairlead, rode, strong point. All the rode is out in the worst phase: shift the nip by moving the guard, and begin with 2 m still inboard.", everyText(d.c.watchEveryH(p)))
	}
	do += fmt.Sprintf(" In wind or gusts of %.0f kt look from shelter, and go forward only to save the rode.", d.c.policy.NoDeckAboveKt)
	d.do("line_tender", do, "The same centimetres of rope must not lie in the fairlead all night.", "Kneel, one hand for yourself. Never astride the rode.")
}

// phaseSteps are the pay-outs of the phases to come.
func (d *deck) phaseSteps() {
	out := d.firstM()
	for _, h := range d.p.Hours {
		if h.Action != "adjust" || h.Verdict == tooLate || h.PayOutM == nil {
			continue
		}
		if m := *h.PayOutM; m > out {
			d.do("foredeck", fmt.Sprintf("Before %s pay out from %.0f m to %.0f m, under a turn, between two seas.", clock(*h.Until), out, m),
				"A longer rode gives more and snaps less; the hour is before the sea is there.", "The load comes on with the next crest: two on the line, none forward of the strong point.")
		}
		out = *h.PayOutM
	}
}

// shiftText says what the leg does in the shifts tried, worst first.
func (d *deck) shiftText() string {
	for _, s := range d.p.Bridle.Shifts {
		if s.OffSeaDeg > 60 {
			return fmt.Sprintf("after %+.0f degrees %s", s.ShiftDeg, s.Text)
		}
	}
	return "look at the heading, ease the leg if the sea comes near the beam"
}
