// Package planner turns a vessel, her gear and a forecast into a deployment plan for lying to a
// parachute sea anchor. It calls the physics and knows no HTTP, SQL, clock or log.
//
// The way through it: Validate the request; resolve what was not given into stated assumptions
// (vessel.go, rig.go, weather.go); divide the forecast into phases (phases.go); screen every step in
// the frequency domain and compute the worst of each phase in the time domain (loads.go); choose
// canopy, pay-out and hardware (choice.go, payout.go, chain.go); set the bridle (bridle.go), the sea room
// (searoom.go), the hours (hours.go), the work on deck (steps.go) and the crew (crew.go); and write the
// document (document.go, gearadvice.go, warnings.go, compare.go, words.go, working.go).
package planner

// Engine names the version of the computation. It changes whenever the same request may give other
// figures, so that an old plan can be told from a new one.
const Engine = "rideout-4"

// Cautions are carried by every plan, sheet and page.
var Cautions = []string{
	"This plan is an aid to the judgement of a qualified skipper, who decides. The gear maker's instructions, local rules, the flag state and the rescue service come before anything written here.",
	"Lying to a sea anchor is dangerous work: steep waves, snap loads and fouled lines injure and kill. A low figure for a hazard is no promise of safety.",
	"Keep feet, hands and clothing clear of the rode and never stand in its bight; lead all lines outside rails and stanchions before anything goes over.",
	"Make the rode fast before the canopy goes over, and hold back from a loaded line: a nylon rode that parts recoils without warning.",
	"One person speaks to the helm, or hand signals agreed beforehand are used.",
	"Protect the rode from chafe wherever it touches, and inspect and shift the nip for as long as she lies to it. Chafe parts more rodes than load does, and is not in these figures.",
	"The loads are estimates from a model with assumed inputs. Read the band, not the middle figure alone, and look at what drives it.",
}
