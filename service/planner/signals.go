package planner

import "rideout/service/physics/hull"

// handSignals are ours, agreed beforehand: common practice differs, and no rule prescribes them. By night
// they are given with a torch held in the hand.
var handSignals = []HandSignal{
	{"Stop everything", "both arms up, hands crossed"},
	{"Ahead, slow", "one arm stretched forward"},
	{"Astern, slow", "one arm stretched down and back"},
	{"Engine out of gear", "flat hand drawn across the throat"},
	{"Bow to port", "left arm out to the side"},
	{"Bow to starboard", "right arm out to the side"},
	{"Pay out", "arm out, palm down, waved outward from the body"},
	{"Snub, hold", "clenched fist held up"},
	{"Haul in", "arm up, finger turning in a circle"},
	{"Made fast", "fist on top of the head"},
	{"Line is fouled or near the propeller", "both fists knocked together"},
	{"Understood", "the same sign given back"},
}

// colregs is said with each rule: it is cited from memory.
const colregs = "COLREGs 1972 "

// shown lists what the collision regulations prescribe, cited from memory. Which of it applies is
// the master's decision.
func (c *computation) shown() []PrescribedSign {
	list := []PrescribedSign{{
		"Proper look-out by sight and hearing and all available means, at all times", colregs + "Rule 5",
		"Applies however she lies. Rules here are cited from memory: look them up. Which signals she shows is the master's decision.",
	}, c.underWay(), {
		"No anchor light, no anchor ball", colregs + "Rule 3(i) and Rule 30",
		"A vessel is under way when not at anchor, made fast to the shore or aground. A sea anchor holds no ground, so Rule 30 does not apply.",
	}, c.notUnderCommand()}
	if c.request.Intent == SlowDrift {
		list = append(list, PrescribedSign{
			"By night two all-round lights in a vertical line, red over white; by day two cones, points together; sidelights and sternlight only when making way", colregs + "Rule 26(c), with Rule 3(d)",
			"Only if she is engaged in fishing with gear that restricts her manoeuvring; trolling lines do not count. Other than trawling is meant.",
		})
	}
	if c.request.Vessel.Hull == hull.Workboat {
		list = append(list, PrescribedSign{
			"By night three all-round lights in a vertical line, red white red; by day ball, diamond, ball", colregs + "Rule 27(b), with Rule 3(g)",
			"Only if the nature of her work restricts her. Lying to a sea anchor alone is not such work: the master decides.",
		})
	}
	return append(list, c.sounds()...)
}

func (c *computation) underWay() PrescribedSign {
	v := c.request.Vessel
	p := PrescribedSign{"By night or in restricted visibility masthead light, sidelights and sternlight", colregs + "Rule 23(a), with Rule 3(i)", "She is under way. A mechanically propelled vessel shows these unless the master decides that another rule applies."}
	switch {
	case v.Hull.Sails() && v.LOAM < 20:
		p.What, p.Rule = "By night or in restricted visibility sidelights and sternlight, or all three in one lantern at the masthead", colregs+"Rule 25(a) and (b), with Rule 3(i)"
		p.Note = "She is under way. With her engine in use she is a power-driven vessel: Rule 23."
	case v.Hull.Sails():
		p.What, p.Rule = "By night or in restricted visibility sidelights and sternlight", colregs+"Rule 25(a), with Rule 3(i)"
		p.Note = "She is under way. With her engine in use she is a power-driven vessel: Rule 23."
	case v.LOAM < 12:
		p.What, p.Rule = "By night or in restricted visibility masthead light, sidelights and sternlight, or an all-round white light and sidelights", colregs+"Rule 23(a) and (d), with Rule 3(i)"
	}
	return p
}

func (c *computation) notUnderCommand() PrescribedSign {
	p := PrescribedSign{
		"By night two all-round red lights in a vertical line; by day two balls in a vertical line", colregs + "Rule 27(a), with Rule 3(f)",
		"Only if through some exceptional circumstance she cannot manoeuvre as the Rules require, and so cannot keep out of the way. Whether lying to a sea anchor in this weather is that is the master's decision. When not making way: without sidelights and sternlight.",
	}
	if c.request.Vessel.LOAM < 12 {
		p.Note += " Under 12 m the lights and shapes of Rule 27 are not compulsory (27(g))."
	}
	return p
}

func (c *computation) sounds() []PrescribedSign {
	list := []PrescribedSign{{
		"In restricted visibility one prolonged blast and two short, at most 2 min apart", colregs + "Rule 35(c)",
		"If she is not under command, restricted in her ability to manoeuvre, under sail or engaged in fishing.",
	}}
	if !c.request.Vessel.Hull.Sails() {
		list = append(list, PrescribedSign{
			"In restricted visibility two prolonged blasts about 2 s apart, at most 2 min apart", colregs + "Rule 35(b)",
			"If she counts as a power-driven vessel under way, stopped and making no way.",
		})
	}
	if c.request.Vessel.LOAM < 12 {
		list = append(list, PrescribedSign{
			"Some other efficient sound signal, at most 2 min apart, instead", colregs + "Rule 35(j)", "Allowed under 12 m.",
		})
	}
	return append(list, PrescribedSign{
		"At least five short and rapid blasts, or flashes, when a vessel comes near and her intentions are in doubt", colregs + "Rule 34(d)",
		"And a call on channel 16 by position; light on the vessel herself to be seen (Rule 36).",
	})
}
