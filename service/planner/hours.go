package planner

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rideout/service/physics/quantity"
)

// Hour is one thing to do on the timeline from harbour to recovery. A nil time is one the forecast
// does not reach; the text says so.
type Hour struct {
	Action  string     `json:"action"` // rig, brief, deploy, settle, watch, adjust, hold, retrieve
	From    *time.Time `json:"from"`
	Until   *time.Time `json:"until"`
	Light   string     `json:"light"` // day, civil_twilight, dark, mixed, unknown
	PayOutM *float64   `json:"pay_out_m,omitempty"`
	EveryH  *float64   `json:"every_h,omitempty"` // interval of the watch on the rode
	Verdict string     `json:"verdict"`           // in_time, too_late, not_before, not_in_forecast
	Text    string     `json:"text"`
	Why     string     `json:"why"`
}

// The verdicts of an Hour.
const (
	inTime        = "in_time"
	tooLate       = "too_late"
	notBefore     = "not_before"
	notInForecast = "not_in_forecast"
)

// Times on deck that are our choice.
const (
	deployTakesH   = 0.5 // from the first part over the side to all rode out
	adjustTakesH   = 0.5
	retrieveTakesH = 1.0
	deployLeadH    = 6.0  // how much earlier daylight may bring the deployment
	rigLeadH       = 24.0 // and the rigging
	settledForH    = 2.0  // how long the limits of retrieval must hold
)

// timetable is the timeline under work. Times are UTC.
type timetable struct {
	policy Policy
	intent Intent
	now    time.Time
	issued bool // now is the forecast's issue, else its first step
	course course
	light  daylight

	rigLimit    *time.Time // when the wind passes the limit for rigging; nil: not in the forecast
	deployLimit *time.Time
	noDeck      *time.Time

	rig, brief, deploy, settle Span    // all now where she lies to it already
	unsafe                     bool    // she cannot deploy safely any more
	payOutM                    float64 // out when she begins to lie, or now
	window                     *Span
	seaRoom                    string // what the sea room says of the hour to deploy
	hours                      []Hour
}

// timeline writes when to rig, brief, deploy, settle, watch, adjust and retrieve.
func (c *computation) timeline() error {
	t, err := c.newTimetable()
	if err != nil {
		return err
	}
	c.timetable = t
	if c.request.Lying != nil {
		c.placeLying(t)
	} else {
		c.before(t)
	}
	t.findWindow(c.plan.Phases[c.worst].WorstAt)
	c.lieHours(t)
	t.sayRetrieve()
	slices.SortStableFunc(t.hours, func(a, b Hour) int {
		if a.From == nil || b.From == nil {
			return cmp.Compare(btoi(a.From == nil), btoi(b.From == nil))
		}
		return a.From.Compare(*b.From)
	})
	c.plan.Hours = t.hours
	c.warnOfHours(t)
	return nil
}

// before writes what is done until she lies to it.
func (c *computation) before(t *timetable) {
	t.place()
	t.payOutM = c.firstPayOutM(t)
	if by, said := c.seaRoomSays("deploy"); by != nil {
		t.seaRoom = " " + said
	}
	t.sayRig()
	t.sayBrief()
	t.sayDeploy()
	t.saySettle()
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// newTimetable finds when the forecast passes the policy's limits. The plan has no clock: its present is
// the issue of the forecast, else the first step.
func (c *computation) newTimetable() (*timetable, error) {
	p := c.policy
	t := &timetable{policy: p, intent: c.request.Intent, course: courseOf(c.hours), now: c.hours[0].at.UTC()}
	if at := c.request.Forecast.IssuedAt; !at.IsZero() && at.Before(t.course.ends) && t.course.ends.Sub(at) < longestAhead {
		t.now, t.issued = at.UTC(), true
	}
	find := func(any ...reading) *time.Time {
		if at, ok := t.course.passed(t.now, any...); ok {
			at = at.UTC()
			return &at
		}
		return nil
	}
	t.rigLimit = find(windPasses(p.RigAboveKt), gustPasses(p.RigAboveKt))
	t.deployLimit = find(windPasses(p.DeployAboveKt), seaPasses(p.DeployAboveHsM), gustPasses(p.NoDeckAboveKt))
	t.noDeck = find(windPasses(p.NoDeckAboveKt), gustPasses(p.NoDeckAboveKt))
	if c.request.Lying == nil {
		c.book.assume("time to pay out", quantity.Exactly(deployTakesH), "h", "our choice", "between the first part over the side and all rode out")
	}
	return t, t.findLight(c)
}

// longestAhead is how far the end of a forecast may lie from its issue for the issue to be believed.
const longestAhead = 30 * 24 * time.Hour

func (t *timetable) findLight(c *computation) (err error) {
	from := t.now.Add(-inHours(1))
	t.light, err = daylightOver(c.request.Position, from, t.course.ends.Add(inHours(rigLeadH)))
	if err != nil || !t.light.known() {
		c.book.warn("light_unknown", "Without a position and a date from 1950 to 2100 it is not known when there is daylight: look it up, and do the work on deck by day.")
	}
	return nil // a date the sun's theory does not cover costs the light alone
}

// place sets the four times before lying: backward from the limit where there is one and time for it,
// else forward from the present.
func (t *timetable) place() {
	p := t.policy
	rig, brief, deploy, settle := inHours(p.RigTakesH), inHours(p.BriefTakesH), inHours(deployTakesH), inHours(p.SettleTakesH)
	switch {
	case t.deployLimit == nil:
		t.placeFreely(rig, brief, deploy)
	case t.deployLimit.Sub(t.now) < deploy+settle && t.noTimeFor(deploy):
		t.unsafe = true
		t.rig, t.brief, t.deploy, t.settle = Span{t.now, t.now}, Span{t.now, t.now.Add(brief)}, Span{t.now, t.now}, Span{t.now, t.now.Add(settle)}
		return
	case t.deployLimit.Sub(t.now) < deploy+settle:
		t.deploy = Span{t.now, t.now.Add(deploy)}
	default:
		earliest := t.now
		if latest := t.deployLimit.Add(-settle - deploy); !t.now.Add(rig + brief).After(latest) {
			earliest = t.now.Add(rig + brief)
		}
		t.deploy = t.lit(earliest, t.deployLimit.Add(-settle), deploy, deployLeadH)
	}
	t.settle = Span{t.deploy.Until, t.deploy.Until.Add(settle)}
	if t.deployLimit == nil {
		return
	}
	t.brief = Span{later(t.now, t.deploy.From.Add(-brief)), later(t.now, t.deploy.From)}
	by := t.brief.From
	if t.rigLimit != nil {
		by = earlier(by, *t.rigLimit)
	}
	t.rig = Span{t.now, t.now.Add(rig)}
	if by.Sub(t.now) >= rig {
		t.rig = t.lit(t.now, by, rig, rigLeadH)
	}
}

// chosen tells whether she lies to it because she wants to, not because the forecast asks for it.
func (t *timetable) chosen() bool { return t.deployLimit == nil && t.intent != RideOutStorm }

// placeFreely sets the times where the forecast does not ask for the sea anchor. Before a storm she is rigged late,
// within the limit for rigging, and all else follows; by choice it is all done in the first daylight that is long enough.
func (t *timetable) placeFreely(rig, brief, deploy time.Duration) {
	until := t.course.ends
	if t.rigLimit != nil {
		until = *t.rigLimit
	}
	t.rig = Span{t.now, t.now.Add(rig)}
	if t.rigLimit != nil && !t.chosen() {
		if until.Sub(t.now) >= rig {
			t.rig = t.lit(t.now, until, rig, rigLeadH)
		}
	} else if day, ok := t.light.firstDay(t.now, until, rig+brief+deploy); ok {
		t.rig = Span{day.From, day.From.Add(rig)}
	}
	t.brief = Span{t.rig.Until, t.rig.Until.Add(brief)}
	t.deploy = Span{t.brief.Until, t.brief.Until.Add(deploy)}
}

// lit is the last stretch of a length before a time, moved up into daylight by at most so many hours.
func (t *timetable) lit(from, until time.Time, length time.Duration, leadH float64) Span {
	last := Span{until.Add(-length), until}
	if t.light.over(last.From, last.Until) == "day" {
		return last
	}
	if s, ok := t.light.lastLit(later(from, last.From.Add(-inHours(leadH))), until, length); ok {
		return s
	}
	return last
}

func (t *timetable) add(h Hour, s Span) { t.hours = append(t.hours, t.placed(h, s)) }

// placed sets an hour's times and light.
func (t *timetable) placed(h Hour, s Span) Hour {
	from, until := s.From.UTC(), s.Until.UTC()
	h.From, h.Light = &from, t.light.over(from, until)
	if h.Until == nil {
		h.Until = &until
	}
	return h
}

// state is the weather at a time in words.
func (t *timetable) state(at time.Time) string {
	kt := t.course.at(windPasses(0), at)
	return fmt.Sprintf("wind %.0f kt gusting %.0f, sea %.1f m", kt, t.course.at(gustPasses(0), at), t.course.at(seaPasses(0), at))
}

// reached says when and how a limit is reached, and how far that can be relied on.
func (t *timetable) reached(at time.Time, limits string) string {
	first := t.course.hours[0].at
	switch {
	case at.Equal(first) && t.now.Before(first):
		return fmt.Sprintf("The forecast begins %s with %s, past %s; it says nothing of the hours before.", clock(at), t.state(at), limits)
	case !at.After(t.now):
		return fmt.Sprintf("%s is past already: %s.", limits, t.state(t.now))
	}
	return fmt.Sprintf("%s is reached %s: %s.", limits, clock(at), t.state(at))
}

func (t *timetable) rigLimits() string {
	return fmt.Sprintf("the limit for rigging (wind or gusts of %.0f kt)", t.policy.RigAboveKt)
}

func (t *timetable) deployLimits() string {
	p := t.policy
	return fmt.Sprintf("the limit for deploying (wind %.0f kt, sea %.1f m or gusts %.0f kt)", p.DeployAboveKt, p.DeployAboveHsM, p.NoDeckAboveKt)
}

func (t *timetable) counted() string {
	if t.issued {
		return " Counted from the forecast's issue, " + clock(t.now) + "."
	}
	return " Counted from the forecast's first step, " + clock(t.now) + "."
}
