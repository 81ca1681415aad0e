package planner

import (
	"fmt"
	"strings"
	"time"
)

// otherTactics is what remains when the sea anchor does not.
const otherTactics = "What remains is the skipper's choice of another tactic with the gear at hand below (slow ahead into the sea, heave to, run off, shelter), and a call to the rescue service while she is still in hand."

// upper makes a sentence of a phrase.
func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// sayRig tells when to rig.
func (t *timetable) sayRig() {
	takes := inHours(t.policy.RigTakesH)
	h := Hour{Action: "rig", Verdict: inTime, Why: "Rigging is done in harbour or while the foredeck is safe."}
	by := t.rigBy()
	switch {
	case by == nil:
		t.sayFreeRig(h)
		return
	case by.Sub(t.now) >= takes:
		h.Text = fmt.Sprintf("Rig the whole set, %s to %s.", clock(t.rig.From), clock(t.rig.Until))
		switch {
		case t.chosen():
			h.Text += fmt.Sprintf(" You choose the hour; the latest to be done is %s.", clock(*by)) + t.darkText(t.rig)
		case t.rig.Until.Before(*by):
			h.Text += fmt.Sprintf(" That is for the daylight; the latest to be done is %s.", clock(*by))
		default:
			h.Text += " Later is too late." + t.darkText(t.rig)
		}
	case t.noTimeFor(takes + inHours(deployTakesH)):
		h.Verdict = tooLate
		h.Text = "Too late to rig and deploy safely. If the gear is not rigged, leave it. " + otherTactics
		t.rig = Span{t.now, t.now}
	default:
		h.Verdict = tooLate
		h.Text = fmt.Sprintf("Too late to rig inside the policy's limit. If the skipper rigs all the same: at once, clipped on, kneeling, two at most forward, and done by %s.", clock(t.rig.Until))
		if t.noDeck != nil {
			h.Text += fmt.Sprintf(" From %s on nobody works forward.", clock(*t.noDeck))
		}
	}
	h.Why += " " + t.rigWhy() + t.counted()
	t.add(h, t.rig)
}

// rigBy is when she must be rigged at the latest, daylight or not; nil: the forecast sets no time.
func (t *timetable) rigBy() *time.Time {
	by := t.rigLimit
	if t.deployLimit != nil {
		last := t.deployLimit.Add(-inHours(t.policy.SettleTakesH) - inHours(deployTakesH) - inHours(t.policy.BriefTakesH))
		if by == nil || last.Before(*by) {
			by = &last
		}
	}
	return by
}

func (t *timetable) rigWhy() string {
	if t.rigLimit == nil {
		return "The brief and the deployment come after it."
	}
	return upper(t.reached(*t.rigLimit, t.rigLimits()))
}

func (t *timetable) sayFreeRig(h Hour) {
	h.Text = "Rig when you choose: the forecast does not reach the limit for rigging." + t.darkText(t.rig)
	h.Why += " " + upper(t.rigLimits()) + " is not reached before the forecast's end, " + clock(t.course.ends) + "." + t.counted()
	if t.intent == RideOutStorm {
		h.Verdict = notInForecast
	}
	t.add(h, t.rig)
}

// noTimeFor tells whether the wind forbids deck work before a length of time from the present has passed.
func (t *timetable) noTimeFor(length time.Duration) bool {
	return t.noDeck != nil && t.noDeck.Sub(t.now) < length
}

func (t *timetable) sayBrief() {
	h := Hour{Action: "brief", Verdict: inTime, Text: "Brief all hands below: who does what, the hand signals, what is done when it goes wrong, and who decides to stop.", Why: "On deck nobody will hear it."}
	switch need := inHours(t.policy.BriefTakesH); {
	case t.unsafe:
		h.Text = "Brief all hands below, now: the tactic chosen, who does what, and that nobody goes forward."
	case t.deployLimit != nil && t.brief.Until.Sub(t.brief.From) < need:
		h.Verdict = tooLate
		h.Text = "No time for the whole brief. Say before anyone goes forward: who does what, the hand signals, the word that stops it."
	}
	t.add(h, t.brief)
}

// sayDeploy tells when to deploy.
func (t *timetable) sayDeploy() {
	h := Hour{Action: "deploy", Verdict: inTime, PayOutM: &t.payOutM, Why: "The canopy goes over while it can still be done without haste."}
	takes := inHours(deployTakesH)
	switch {
	case t.deployLimit == nil:
		t.sayFreeDeploy(h)
		return
	case t.deployLimit.Sub(t.now) >= takes+inHours(t.policy.SettleTakesH):
		h.Text = fmt.Sprintf("Deploy %s, all rode out by %s.", clock(t.deploy.From), clock(t.deploy.Until))
		if last := t.deployLimit.Add(-inHours(t.policy.SettleTakesH)); t.deploy.Until.Before(last) {
			h.Text += fmt.Sprintf(" That is for the daylight; the latest to be done is %s.", clock(last))
		} else {
			h.Text += t.darkText(t.deploy)
		}
		if t.hours[0].Verdict == tooLate {
			h.Text += " That holds only if she is rigged already."
		}
	case t.unsafe:
		h.Verdict = tooLate
		h.Text = "Too late to deploy safely. " + otherTactics
	default:
		h.Verdict = tooLate
		h.Text = fmt.Sprintf("Past the policy's hour to deploy. If she is rigged and the skipper decides so: at once, and all rode out by %s.", clock(t.deploy.Until))
		if t.noDeck != nil {
			h.Text += fmt.Sprintf(" From %s on nobody works forward.", clock(*t.noDeck))
		}
	}
	h.Text += t.seaRoom
	h.Why += " " + upper(t.reached(*t.deployLimit, t.deployLimits())) + t.counted()
	t.add(h, t.deploy)
}

func (t *timetable) sayFreeDeploy(h Hour) {
	h.Text = "Deploy when you choose: the forecast does not reach the limit for deploying." + t.darkText(t.deploy)
	h.Why = upper(t.deployLimits()) + " is not reached before the forecast's end, " + clock(t.course.ends) + "."
	if t.intent == RideOutStorm {
		h.Verdict = notInForecast
		h.Text = "The forecast does not ask for the sea anchor: keep it ready, and look at the next forecast. If you deploy all the same, choose the hour." + t.darkText(t.deploy)
	}
	h.Text += t.seaRoom
	t.add(h, t.deploy)
}

func (t *timetable) saySettle() {
	h := Hour{Action: "settle", Verdict: inTime, Text: "Let her settle: trim the lead of the rode, lash the helm, look at the strain and the chafe, then lie down.", Why: "Faults show in the first hour, while they can still be mended."}
	if t.deployLimit != nil && t.settle.Until.After(*t.deployLimit) {
		h.Verdict = tooLate
		h.Why += " It falls past the limit for deploying: do it in short spells, clipped on."
	}
	if t.unsafe {
		h.Text, h.Why = "If she is lying to it already: helm lashed, all hands in shelter; nobody forward to trim.", "The wind forbids work on deck."
	}
	t.add(h, t.settle)
}

// darkText says that a stretch is not in daylight and when the last light before it is.
func (t *timetable) darkText(s Span) string {
	switch light := t.light.over(s.From, s.Until); {
	case !t.light.known() || light == "day":
		return ""
	case light == "civil_twilight":
		return " It falls in twilight: lamps ready."
	}
	if last, ok := t.light.lastLit(t.now, s.From, time.Minute); ok {
		return fmt.Sprintf(" It falls in the dark or partly so: the last light before it ends %s.", clock(last.Until))
	}
	return " It falls in the dark, and there is no light before it: deck lights, head torches, every line marked."
}
