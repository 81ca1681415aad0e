package planner

import "fmt"

// trouble is what is done when it goes wrong. Each step stands by itself.
func (d *deck) trouble() {
	d.do("skipper", "Canopy does not fill, or the bow falls off and the rode jerks: ease 10 m at once and snub. If it stays so, take in to a boat length under power, shake it, pay out again.",
		"It has wrapped in its own lines, or lies in the crests.", "Working at the rode while it jerks: one snap is the whole load.")
	d.do("foredeck", fmt.Sprintf("Canopy breaks the surface: pay out more rode. It should hang %.0f m down; it hangs about %.0f m down by this plan.", d.p.Canopy.NeededDepthM, d.p.Canopy.DepthM),
		"In a trough it turns over and empties.", "She falls back free until it fills again: hold on.")
	if d.gear.TripLine != nil {
		d.do("skipper", "Trip line lost or wound round: do not send anyone after it. Come up under power, take the rode in to the canopy's lines, haul those of one side only.",
			fmt.Sprintf("It then takes about %s instead of %s.", force(d.p.Crew.Hauling.ByRodeN.Mid), force(d.p.Crew.Hauling.ByTripLineN.Mid)), "The loose line may find the propeller.")
	}
	d.chafed()
	d.do("helm", "Rode under the keel or near the propeller: engine out of gear and off. Ease the rode, let her swing clear.",
		"A propeller that winds in a loaded rode stops for good.", "Starting again before every line is seen.")
	d.do("helm", "She lies beam to the sea and does not come back: slow ahead in short bursts to bring the bow up, helm hard over, rode in sight.",
		"Beam-on she can be rolled.", "Overrunning the rode.")
	d.shallow()
	d.do("skipper", "Person over the side: throw the lifebuoy, point, press the button, MAYDAY. She cannot come about on the rode: only the skipper says whether to slip it.",
		"She drifts slowly, and so does the swimmer.", "A second one going in after.")
	d.do("skipper", d.cutText(), "The last means: when the gear drags her under or ashore, holds her beam-on, or a life depends on it.",
		"The rode recoils toward whoever cuts: stand behind and beside the strong point, all others aft. Then she has nothing: know first what comes next.")
}

// chafed is a rode half worn through.
func (d *deck) chafed() {
	do := "Rode chafed at the nip: pay out until the worn part is outboard, well clear. If none is left to pay out, take it in under power until it is inboard of the strong point."
	if s := d.gear.Spare; s != nil {
		do += fmt.Sprintf(" Bend the spare line (%.0f mm) on outside the worn part with a rolling hitch, seized, and share the load.", s.DiameterMM)
	}
	d.do("line_tender", do, fmt.Sprintf("It bears %s kN at the peak when whole.", kilo(d.p.Loads.PeakN.Mid)), "It parts while it is handled: everyone out of its line.")
}

// shallow is the canopy on the bottom, and what breaks it out.
func (d *deck) shallow() {
	clear := d.p.Canopy.DepthM + d.p.Canopy.UsedDiameterM
	d.do("lookout", fmt.Sprintf("Watch the depth. Below about %.0f m the canopy nears the bottom: take rode in or retrieve before that.", clear), "On the bottom it holds like an anchor nobody chose, in breaking water.", "Seas break in shoaling water long before the bottom is touched.")
	d.do("foredeck", "Canopy fast on the bottom: take in until the rode is up and down in a lull, make fast, and let the next crest lift it out. If it does not come, ease and pull from another side under power.",
		"The hull's lift is stronger than any windlass.", "The peak is then the hull's lift, not this plan's figure: nobody forward.")
}

func (d *deck) cutText() string {
	do := fmt.Sprintf("Cut free as the last means: at the %s, on the outboard side of the turn, one stroke of a sharp serrated knife, on the skipper's word.", d.p.Bridle.BowPoint)
	if d.twoLegs() {
		do += fmt.Sprintf(" The leg to the %s first.", d.p.Bridle.AftPoint)
	}
	if d.gear.Float != nil {
		do += " The float marks the gear: log its position."
	} else {
		do += " Log the position."
	}
	return do + " Tell the coast guard that a line drifts there."
}
