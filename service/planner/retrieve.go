package planner

import "fmt"

// retrieve is the work of bringing the gear back.
func (d *deck) retrieve() {
	p, h := d.c.policy, d.p.Crew.Hauling
	d.do("skipper", fmt.Sprintf("Wait for wind below %.0f kt and sea below %.1f m, and for daylight. See the hours for when.", p.RetrieveBelowKt, p.RetrieveBelowHsM),
		"More people are hurt bringing gear back than putting it out; waiting costs only sea room.", "Impatience after a bad night.")
	d.do("helm", "Engine on, out of gear. Look over both sides for lines. Then dead slow ahead along the rode, as the foredeck points. Out of gear before each haul.",
		"She moves to the canopy, so that nobody drags the canopy to her.", "The rode under the bow and into the propeller: stop at the sign.")
	if d.twoLegs() {
		d.do("foredeck", fmt.Sprintf("Slip the leg from the %s while the rode is slack. Take it in.", d.p.Bridle.AftPoint), "One line to handle.", "A leg trailing near the propeller.")
	}
	d.do("line_tender", "Take in the slack as she comes up, a turn always on. Flake it down clear.", "A loose bight sinks under the hull.", "She falls back without warning: let the turn take it, not the hands.")
	need := h.ByTripLineN
	switch {
	case d.gear.TripLine != nil:
		d.byTripLine()
	default:
		need = h.ByRodeN
		d.byShrouds()
	}
	d.do("line_tender", fmt.Sprintf("Expect %s (%s to %s), more as she pitches. There: %s. Haul as she goes down, hold as she rises.", force(need.Mid), force(need.Low), force(need.High), d.pullText(*h)),
		fmt.Sprintf("Reckon with %.0f minutes. Let the canopy drain at the rail before it is lifted.", h.MinutesByIt), "Backs and fingers. Never a turn round a hand.")
	if d.gear.Chain != nil {
		d.do("foredeck", "Take the chain over the roller or a padded rail, and stop it off each metre.", "It is the heaviest part and swings.", "Chain on feet and paint.")
	}
	d.do("skipper", "Canopy bagged at once and lashed. Helm, engine, lines: check all before getting under way.", "A canopy loose on deck fills with wind.", "A line still over the side.")
	d.do("line_tender", "In harbour: rinse in fresh water, dry, look at every metre. Cut out what is chafed, or turn the rode end for end. Note hours and loads in the log.",
		fmt.Sprintf("This forecast costs the rode about %.2g %% of its life by fatigue alone.", 100*d.p.Rode.FatigueShare.Mid), "A worn rode stowed and forgotten.")
}

func (d *deck) pullText(h Hauling) string {
	if h.From == "windlass" {
		return fmt.Sprintf("the windlass with %s", force(h.AvailableN))
	}
	return fmt.Sprintf("hands with %s in all", force(h.AvailableN))
}

// byTripLine brings the canopy back by its crown.
func (d *deck) byTripLine() {
	if d.gear.Float != nil {
		d.do("foredeck", "Come up to the float from leeward, on the windward bow. Take it with the boathook and bring the trip line in.",
			"On that side she does not drift over it.", "Leaning out for it: let it pass and come again.")
	} else {
		d.do("foredeck", "Clear the trip line's end from the rode and bring it to the rail.", "The two may have wound round each other.", "A riding turn that jams when the load comes.")
	}
	d.do("foredeck", "Keep the rode slack and haul on the trip line alone, crown first.", "The canopy turns over and spills; with the rode taut it cannot.", "Hauling on both at once fills it again.")
}

// byShrouds brings the canopy back without a line to its crown.
func (d *deck) byShrouds() {
	d.do("foredeck", "Haul the rode in until the canopy's lines are at the rail. Then haul on two or three lines of one side only, until that edge comes up.",
		"Nothing is bent to the crown. Pulled by one edge, the canopy spills its water.", "With way on, or in a gust, it fills again: let go, do not hold.")
	d.do("foredeck", "Gather the edge in hand over hand, squeezing the water out.", "Full of water it weighs tonnes.", "Fingers caught in the lines.")
}
