package planner

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"rideout/service/physics/coast"
	"rideout/service/physics/drift"
	"rideout/service/physics/geo"
	"rideout/service/physics/hull"
	"rideout/service/physics/quantity"
)

// SeaRoom is where she will be and whether a shore is there. A nil time is one not reached within the
// forecast: it is no promise that it is never reached.
type SeaRoom struct {
	TimeToLeeShoreH   Reach           `json:"time_to_lee_shore_h"`
	ProbabilityAshore float64         `json:"probability_ashore"` // by the end of the forecast
	NearestHazard     *NearHazard     `json:"nearest_hazard"`
	Legs              []DriftLeg      `json:"legs"`    // what the drift was computed from, one for each step of the forecast
	Reached           []ReachedHazard `json:"reached"` // shores and hazards that particles met, likeliest first
	Track             json.RawMessage `json:"track"`   // GeoJSON: the middle track, hourly
	Containment       json.RawMessage `json:"containment"`
	WithoutAnchor     Adrift          `json:"without_sea_anchor"`
	LatestToAct       []Deadline      `json:"latest_to_act"`
	CurrentContained  string          `json:"current_contained"` // what the current is taken to hold
	Particles         int             `json:"particles"`
	Text              string          `json:"text"`
	Limits            string          `json:"limits"` // islets are missing
}

// DriftLeg is a step of the forecast as it carries her: through the water, and with it.
type DriftLeg struct {
	From       time.Time `json:"from"`
	Hours      float64   `json:"hours"`
	TowardDeg  float64   `json:"toward_deg"`
	SpeedKt    Band      `json:"speed_kt"`
	CurrentKt  float64   `json:"current_kt"`
	CurrentDeg float64   `json:"current_toward_deg"`
}

// Reach is when 5, 50 and 95 of a hundred particles have reached something, in hours from the start;
// nil: not within the forecast.
type Reach struct {
	Low  *float64 `json:"low"`
	Mid  *float64 `json:"mid"`
	High *float64 `json:"high"`
}

// NearHazard is the nearest shore or hazard to the start, and to the middle track.
type NearHazard struct {
	Name       string  `json:"name"`
	Kind       string  `json:"kind"` // shore, hazard
	DistanceNM float64 `json:"distance_nm"`
	BearingDeg float64 `json:"bearing_deg"`
	ClosestNM  float64 `json:"closest_on_track_nm"` // of the middle track, to any shore or hazard
}

// ReachedHazard is one shore or hazard that can be reached within the forecast.
type ReachedHazard struct {
	Name        string  `json:"name"`
	Kind        string  `json:"kind"`
	Probability float64 `json:"probability"`
	TimeH       Reach   `json:"time_h"`
}

// Adrift is the same sea with nothing out.
type Adrift struct {
	LeewayClass       string          `json:"leeway_class"`
	Legs              []DriftLeg      `json:"legs"`
	DriftKt           Band            `json:"drift_kt"`
	TimeToShoreH      Reach           `json:"time_to_lee_shore_h"`
	ProbabilityAshore float64         `json:"probability_ashore"`
	Track             json.RawMessage `json:"track"`
}

// Deadline is the latest hour for an act that still keeps her off.
type Deadline struct {
	Act  string     `json:"act"` // leave, deploy, call
	By   *time.Time `json:"by"`
	Text string     `json:"text"`
}

// seaRoom works out where she will be and whether a shore is there. Without a position or a direction of the
// wind there is none, and the plan says so.
func (c *computation) seaRoom() error {
	err := c.computeSeaRoom()
	var out *quantity.RangeError
	if errors.As(err, &out) { // no reason to keep the loads from anybody
		c.book.warn("sea_room_not_covered", "The sea room is not computed, because the case lies outside what the drift covers (%s): work it out by other means.", out)
		return nil
	}
	return err
}

func (c *computation) computeSeaRoom() error {
	switch {
	case c.request.Position == nil:
		c.book.warn("no_position", "No position is given: where she will be, whether a shore is there, and when it is light must be worked out by other means.")
		return nil
	case !c.knowsWindDirection():
		c.book.warn("no_wind_direction", "The forecast gives no direction of the wind: where she will drift to, and whether a shore is there, must be worked out by other means.")
		return nil
	case totalOf(c.hours) > drift.MaxHours:
		c.book.warn("forecast_too_long_for_drift", "No drift is computed over more than %.0f hours: send a shorter forecast to have the sea room.", drift.MaxHours)
		return nil
	}
	start, err := geo.At(c.request.Position.LatitudeDeg, c.request.Position.LongitudeDeg)
	if err != nil {
		return err
	}
	legs, contained, err := c.legsToCanopy()
	if err != nil {
		return err
	}
	adrift, class := c.legsAdrift(legs)
	w, err := chart(start, c.request.Hazards, reachM(legs, adrift))
	if err != nil {
		return err
	}
	if err := c.checkAfloat(w); err != nil {
		return err
	}
	room := &SeaRoom{Legs: legs, CurrentContained: contained, Particles: particles, Limits: coast.Missing}
	room.WithoutAnchor = Adrift{LeewayClass: class.Name, Legs: adrift}
	lying, bare, err := c.drifts(w, room, class)
	if err != nil {
		return err
	}
	if room.LatestToAct, err = c.deadlines(w, room, lying, bare, class); err != nil {
		return err
	}
	room.Text = roomText(*room, c.policy.AshoreLimit)
	c.plan.SeaRoom = room
	c.noteSpread()
	c.warnOfShore(*room)
	c.workSeaRoom(*room)
	return nil
}

func (c *computation) knowsWindDirection() bool {
	for _, h := range c.hours {
		if h.windFrom != nil {
			return true
		}
	}
	return false
}

func totalOf(hours []hour) float64 {
	sum := 0.0
	for _, h := range hours {
		sum += h.hours
	}
	return sum
}

// checkAfloat refuses a start well inside the land; near a shore the data may be wrong by some hundred
// metres, and it is only said.
func (c *computation) checkAfloat(w waters) error {
	land, err := coast.OnLand(w.start)
	if err != nil || !land {
		return err
	}
	if _, _, _, near := w.index.Nearest(geo.XY{}, nearShoreM); !near {
		return &InvalidError{[]Problem{{"/position", "the position lies on land, by the coast data", "send the position at sea where she will lie"}}}
	}
	c.book.warn("position_at_shore", "The position lies on land by the coast data, which may be wrong by some hundred metres: the sea room is computed from there all the same.")
	return nil
}

// drifts runs the particles, lying to the canopy and with nothing out.
func (c *computation) drifts(w waters, room *SeaRoom, class hull.LeewayClass) (lying, bare drift.Ensemble, err error) {
	from, at := c.hours[0].at, shownAt(totalH(room.Legs))
	if lying, err = w.run(spansOf(room.Legs, quantity.Degrees(canopyDivergence), toCanopy), at); err != nil {
		return lying, bare, err
	}
	if bare, err = w.run(spansOf(room.WithoutAnchor.Legs, class.Divergence(), nothingOut), nil); err != nil {
		return lying, bare, err
	}
	room.TimeToLeeShoreH, room.ProbabilityAshore = reachOf(lying.Ashore.Arrival()), sig3(lying.Ashore.Probability().Mid)
	room.NearestHazard, room.Reached = w.nearest(lying.Mid), w.reached(lying)
	a := &room.WithoutAnchor
	a.TimeToShoreH, a.ProbabilityAshore = reachOf(bare.Ashore.Arrival()), sig3(bare.Ashore.Probability().Mid)
	a.DriftKt = each(class.Drift(c.spells[c.worst].worst.hour.windMS).Scale(quantity.Knots(1)), r2)
	if room.Track, err = encoded([]featureMade{trackOf(lying.Mid, from, "lying to the sea anchor")}); err != nil {
		return lying, bare, err
	}
	if a.Track, err = encoded([]featureMade{trackOf(bare.Mid, from, "with nothing out")}); err != nil {
		return lying, bare, err
	}
	areas, err := containment(&lying, from, at)
	if err != nil {
		return lying, bare, err
	}
	room.Containment, err = encoded(areas)
	return lying, bare, err
}

// roomText is the sea room in words.
func roomText(r SeaRoom, limit float64) string {
	hours := totalH(r.Legs)
	near := fmt.Sprintf("No shore of the data lies within %.0f miles. ", math.Round(nearestWithinM/quantity.MetresPerNauticalMile))
	if n := r.NearestHazard; n != nil {
		near = fmt.Sprintf("Nearest is %s, %.1f miles on a bearing of %03.0f; the middle track comes within %.1f miles of a shore or hazard. ", n.Name, n.DistanceNM, n.BearingDeg, n.ClosestNM)
	}
	ashore := fmt.Sprintf("In %.0f hours she meets a shore or hazard with a probability of %s", hours, chance(r.ProbabilityAshore))
	if t := r.TimeToLeeShoreH.Low; t != nil {
		ashore += fmt.Sprintf(", the earliest to reckon with after %.0f hours", *t)
	}
	ashore += fmt.Sprintf("; with nothing out, %s", chance(r.WithoutAnchor.ProbabilityAshore))
	if t := r.WithoutAnchor.TimeToShoreH.Low; t != nil {
		ashore += fmt.Sprintf(", after %.0f hours at the earliest", *t)
	}
	verdict := ". "
	if r.ProbabilityAshore > limit {
		verdict = ". The sea room is too short. "
	}
	return near + ashore + verdict + "She is taken to lie to the canopy from the first hour of the forecast, at the position given."
}

// chance prints a share of the particles; none is no proof that it cannot be: 3/n is the 95 % bound (rule of three).
func chance(p float64) string {
	if p == 0 {
		return fmt.Sprintf("less than %.2f %% (none of %d drifts)", 300.0/particles, particles)
	}
	return fmt.Sprintf("%.1f %%", 100*p)
}

func (c *computation) warnOfShore(room SeaRoom) {
	if on, none := c.plan.Loads.DriftKt.Mid, room.WithoutAnchor.DriftKt.Mid; on >= none {
		c.book.warn("leeway_no_faster", "By the leeway table her kind drifts at %.1f kt with nothing out, no faster than the %.1f kt computed on the canopy: the class of the table may not fit her, so read what is said of nothing out with care.", none, on)
	}
	if room.ProbabilityAshore > c.policy.AshoreLimit {
		c.book.warn("sea_room_short", "Lying to the sea anchor she meets a shore or hazard within the forecast with a probability of %.0f %%; the limit is %.0f %%.", 100*room.ProbabilityAshore, 100*c.policy.AshoreLimit)
	}
}
