package planner

import (
	"fmt"

	"rideout/service/physics/drift"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// deadlines are the latest hours for the acts that keep her off.
func (c *computation) deadlines(w waters, room *SeaRoom, lying, bare drift.Ensemble, class hull.LeewayClass) ([]Deadline, error) {
	if c.request.Lying != nil {
		return []Deadline{c.whetherToLeave(*room), c.latestCall(lying)}, nil
	}
	deploy, err := c.latestDeploy(w, room, lying, bare, class)
	if err != nil {
		return nil, err
	}
	return []Deadline{c.latestLeave(*room), deploy, c.latestCall(lying)}, nil
}

// whetherToLeave is said to a vessel that lies to it already. It has no latest hour: to leave she must bring it back first.
func (c *computation) whetherToLeave(room SeaRoom) Deadline {
	d := c.latestLeave(room)
	if d.By = nil; room.ProbabilityAshore > c.policy.AshoreLimit {
		d.Text = fmt.Sprintf("The sea room is too short: lying here she meets a shore or hazard with a probability of %.0f %%. She can leave for sea room only while wind and sea let her bring the sea anchor back and make way: see the hours, and call early.", 100*room.ProbabilityAshore)
	}
	return d
}

// latestLeave is when wind and sea pass what she is taken to make way against, if lying there would
// bring her ashore.
func (c *computation) latestLeave(room SeaRoom) Deadline {
	d := Deadline{Act: "leave", Text: fmt.Sprintf("Lying here she meets a shore or hazard with a probability of %s, within the limit of %.0f %%: there is no need to leave for sea room.", chance(room.ProbabilityAshore), 100*c.policy.AshoreLimit)}
	if room.ProbabilityAshore <= c.policy.AshoreLimit {
		return d
	}
	for _, h := range c.hours {
		if quantity.Knots(h.windMS) >= c.policy.DeployAboveKt || h.totalHsM() >= c.policy.DeployAboveHsM {
			at := h.at
			d.By = &at
			d.Text = fmt.Sprintf("Leave for sea room before %s, while she can still make way against wind and sea: lying here she meets a shore or hazard with a probability of %.0f %%.", clock(at), 100*room.ProbabilityAshore)
			if !at.After(c.hours[0].at) {
				d.Text = fmt.Sprintf("Wind and sea are already beyond what she is taken to make way against, and lying here she meets a shore or hazard with a probability of %.0f %%: call early.", 100*room.ProbabilityAshore)
			}
			return d
		}
	}
	d.Text = fmt.Sprintf("The sea room is too short: she meets a shore or hazard with a probability of %.0f %%. Wind and sea let her leave at any hour of the forecast; do so in good time.", 100*room.ProbabilityAshore)
	return d
}

// latestDeploy is the last hour at which going over from nothing out to the canopy keeps the probability of a
// shore within the limit.
func (c *computation) latestDeploy(w waters, room *SeaRoom, lying, bare drift.Ensemble, class hull.LeewayClass) (Deadline, error) {
	limit := c.policy.AshoreLimit
	d := Deadline{Act: "deploy", Text: "With nothing out she keeps off too within the forecast: sea room sets no latest hour to deploy; the weather does."}
	if bare.Ashore.Probability().Mid <= limit {
		return d, nil
	}
	if lying.Ashore.Probability().Mid > limit {
		d.Text = fmt.Sprintf("Even with the canopy out from the start the probability of a shore or hazard is %.0f %%: the sea anchor slows her and gains time, it does not keep her off.", 100*lying.Ashore.Probability().Mid)
		return d, nil
	}
	latest, err := drift.LatestChange(w.drifting(spansOf(room.WithoutAnchor.Legs, class.Divergence(), nothingOut), nil), spansOf(room.Legs, quantity.Degrees(canopyDivergence), toCanopy), limit, totalH(room.Legs))
	if err != nil || !latest.Within {
		return d, err
	}
	by := after(c.hours[0].at, latest.Hours)
	d.By = &by
	d.Text = fmt.Sprintf("To keep the probability of a shore or hazard within %.0f %%, have the canopy out by %s.", 100*limit, clock(by))
	return d, nil
}

// latestCall is when help must be called so that it comes before the probability of a shore passes the limit.
func (c *computation) latestCall(lying drift.Ensemble) Deadline {
	limit := c.policy.AshoreLimit
	d := Deadline{Act: "call", Text: "Within the forecast sea room gives no reason to call; call the rescue service early all the same if anything else does."}
	switch latest := lying.Ashore.NotLaterThan(limit, helpTakesH); {
	case latest.Passed:
		at := c.hours[0].at
		d.By = &at
		d.Text = fmt.Sprintf("Call at once: help taken to need %.0f h may come too late for the shore or hazard to leeward.", helpTakesH)
	case latest.Within:
		by := after(c.hours[0].at, latest.Hours)
		d.By = &by
		d.Text = fmt.Sprintf("Call by %s at the latest, if help is taken to need %.0f h (our choice): by then the probability of meeting a shore or hazard before it comes reaches %.0f %%.", clock(by), helpTakesH, 100*limit)
	}
	return d
}
