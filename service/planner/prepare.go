package planner

import (
	"fmt"

	"rideout/service/physics/hull"
)

// prepare is the work before the canopy goes over.
func (d *deck) prepare() {
	if d.c.timetable.unsafe {
		d.do("skipper", "Stop. By the hours it is too late to rig or deploy safely. The steps of these two stages are for another day; read on from lying to it if the gear is out already.",
			"The wind forbids work on deck.", "Doing it all the same because it is written here.")
	}
	d.do("skipper", "Brief all hands. Give each a task. Agree the hand signals and the word that stops everything.",
		"On deck in this wind nobody hears. "+orderOfWork, "A step begun by two people at once.")
	d.do("skipper", "All on deck: lifejacket, harness clipped on, gloves, boots, a knife within reach. Two at most on the foredeck.",
		"The foredeck pitches and is swept.", "Going over the side. Loose clothing drawn into the line.")
	d.hullReady()
	d.rodeReady()
	d.metalReady()
	d.canopyReady()
	d.legsReady()
	d.do("helm", "Start the engine and leave it running, out of gear. Check that no line hangs over the side.",
		"It holds her bow up while the gear goes out.", "A line in the propeller ends it.")
	d.do("lookout", "Switch on the lights the skipper decides on. Have the safety message written out. Watch radar and AIS.",
		"Others must know that she does not get out of the way.", "Everyone looks at the bow and nobody round about.")
}

// hullReady is what the kind of hull asks for.
func (d *deck) hullReady() {
	switch d.c.request.Vessel.Hull {
	case hull.SailMonohull:
		d.do("foredeck", "Lash the mainsail hard to the boom. Lash the boom to the deck, off the centre line of the cockpit. Take headsails off their stays.",
			"Loose sail is windage that makes her sheer about.", "A boom that breaks free.")
	case hull.SailMultihull:
		d.do("foredeck", "Lash the mainsail to the boom, and the boom. Take headsails off. Set boards and lifting rudders as the builder says for lying to.",
			"Loose sail makes her sheer about; boards and rudders take the load when she moves astern.", "The net and the forward beam are swept: stay off them in breaking seas.")
	case hull.PowerPlaning:
		d.do("foredeck", "Take down canvas, aerials and fenders. Close the cockpit drains that let water back, and shut all hatches. Trim the weights forward of the stern.",
			"A light stern is thrown about, and a low one is pooped when she moves astern.", "The transom faces the foot of each sea as she surges back.")
	case hull.Workboat:
		d.do("foredeck", "Clear the working deck. Lash all gear. See that freeing ports swing. Dog down doors and hatches.",
			"Water on deck must run off, and nothing may move.", "Moving gear breaks legs and doors.")
	default:
		d.do("foredeck", "Lash everything on deck and stow what catches wind. Shut hatches, ports and vents to windward. Check the bilge.",
			"Less windage, and no water below.", "Gear that breaks loose on a rolling deck.")
	}
}

func (d *deck) rodeReady() {
	r := d.p.Bridle
	marks := ""
	for _, m := range d.snubs() {
		marks += fmt.Sprintf("%.0f, ", m)
	}
	d.do("line_tender", fmt.Sprintf("Make the inboard end of %s fast below or to a second strong point first. Flake the rest down to run. Mark it at %s%.0f m.", d.rodeText(), marks, d.firstM()),
		"An end that is fast cannot be lost; marks are read by feel in the dark.", "A bight round a foot.")
	d.do("foredeck", fmt.Sprintf("Lead the rode from the %s through the fairlead, then outside rails, stanchions and everything else, back to where the canopy goes over on the %s side.", r.BowPoint, d.windward()),
		"What lies inside a stanchion tears it out when the load comes.", "Leaning out over the rail: clip on first.")
	if d.gear.Chafe {
		d.do("foredeck", "Put the chafe gear on the rode where it will lie in the fairlead. Tie it to the rode, not to the rail. Lay spares ready.",
			"Chafe parts more rodes than load does.", "Gear that creeps out of the fairlead guards nothing.")
		return
	}
	d.do("foredeck", "Wrap the rode where it will lie in the fairlead with hose, leather or doubled canvas, tied to the rode. Nothing made for it is among the gear.",
		"Chafe parts more rodes than load does.", "A wrapping that creeps out guards nothing: look at it each watch.")
}

func (d *deck) metalReady() {
	if n := len(d.gear.Shackles); n > 0 {
		d.do("foredeck", "Check every shackle: pin home, then moused with wire.", "Pulsing load undoes a pin.", "A pin not moused is a set lost.")
	}
	if len(d.gear.Swivels) > 0 {
		d.do("foredeck", "Turn the swivel by hand under some load. It goes between rode and canopy.", "The canopy may turn; the rode must not.", "A seized swivel lays turns into the rode until it kinks.")
	}
	if ch := d.gear.Chain; ch != nil {
		d.do("foredeck", fmt.Sprintf("Shackle the %.0f m of %.0f mm chain between rode and canopy. Lash it along the rail in short bights, with twine that can be cut.", ch.LengthM, ch.SizeMM),
			fmt.Sprintf("Its weight holds the canopy under the troughs: %.0f m down is needed at the worst.", d.p.Canopy.NeededDepthM), "Chain that runs out takes fingers along.")
	}
}

func (d *deck) canopyReady() {
	do := fmt.Sprintf("Lay %s out below or in the lee, clear its lines, then stow it wetted in its bag, lines uppermost.", d.canopyText())
	d.do("line_tender", do, "A wet, bagged canopy goes down like a sack; a dry one flies.", "Wind in a dry canopy on deck takes a person with it.")
	switch {
	case d.gear.TripLine != nil && d.gear.Float != nil:
		d.do("line_tender", fmt.Sprintf("Bend the %.0f m trip line to the crown of the canopy and its other end to the float.", d.gear.TripLine.LengthM),
			"Hauled by the crown, the canopy spills its water.", "A trip line that is too short, or fouls the lines, trips the canopy by itself.")
	case d.gear.TripLine != nil:
		d.do("line_tender", fmt.Sprintf("Bend the %.0f m trip line to the crown of the canopy. No float is carried: bring its end back to the bow beside the rode, slack.", d.gear.TripLine.LengthM),
			"Hauled by the crown, the canopy spills its water.", "The two lines twist together: keep them apart at the bow.")
	case d.gear.Float != nil:
		d.do("line_tender", "Tie the float to the crown of the canopy on a short line of its own.", "It shows where the canopy is and keeps it from sinking when the rode goes slack.", "A float on too short a line holds the canopy in the breaking crests.")
	}
}

// legsReady is the second leg of a bridle.
func (d *deck) legsReady() {
	b := d.p.Bridle
	switch {
	case !d.twoLegs():
	case b.Arrangement == "square":
		d.do("foredeck", fmt.Sprintf("Rig a leg from each bow: %.1f m from the %s and %.1f m from the %s, outside everything, joined to the rode. Use %s.", b.BowLegM, b.BowPoint, b.AftLegM, b.AftPoint, d.legLine()),
			"Two legs far apart hold her square to the sea.", "Legs of unequal length put the load on one bow.")
	default:
		d.do("foredeck", fmt.Sprintf("Rig the second leg from the %s, outside everything, forward to the bow. Leave %.1f m of it free, and its end within reach. Use %s.", b.AftPoint, b.AftLegM, d.legLine()),
			fmt.Sprintf("It holds her %.0f degrees off the wind once the rode is out.", b.HeadingDeg), "A leg led inside a stanchion takes the rail with it.")
	}
}
