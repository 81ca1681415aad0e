package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// fittedItem is an item of gear, from when and until when it is rigged.
type fittedItem struct {
	id          uuid.UUID
	item        *fleet.GearItem
	from, until time.Time // until zero: still
}

// author turns the history into acts in the order of their recording.
type author struct {
	history demoHistory
	plans   map[string]demoPlan // of the scenario, by claim
	ids     map[string]uuid.UUID
	kinds   map[string]fleet.Kind
	names   map[string]string // of vessels, by their files
	items   map[string][]*fittedItem
	further map[string]int // versions recorded of a thing
	acts    []demoAct
}

// actsOf writes the acts: those of the history, and after them the rounds that go on up to a time. Each list is in order, so
// that of acts done one after the other the first that is not there is where an earlier start ended.
func actsOf(h demoHistory, scenario []demoPlan, now time.Time) (acts []demoAct, ids map[string]uuid.UUID, err error) {
	a := &author{
		history: h, plans: map[string]demoPlan{}, ids: map[string]uuid.UUID{}, kinds: map[string]fleet.Kind{}, names: map[string]string{},
		items: map[string][]*fittedItem{}, further: map[string]int{},
	}
	for _, p := range scenario {
		a.plans[p.claim.Key] = p
	}
	for _, write := range []func() error{
		a.writePolicy, a.writeVessels, a.writeFitted, a.writePlans, a.writeLays, a.writeInspections, a.writeIncidents, a.writeChanges,
	} {
		if err := write(); err != nil {
			return nil, nil, err
		}
	}
	ends := slices.MaxFunc(a.acts, byTime).at
	a.writeRounds(time.Time{}, ends)
	slices.SortStableFunc(a.acts, byTime)
	past := a.acts
	a.acts = nil
	a.writeRounds(ends, now)
	slices.SortStableFunc(a.acts, byTime)
	return append(past, a.acts...), a.ids, nil
}

func byTime(a, b demoAct) int { return a.at.Compare(b.at) }

// name gives a thing its id. Ids come from names and times, so that every demo has the same.
func (a *author) name(kind fleet.Kind, name string, at time.Time) (uuid.UUID, error) {
	if _, taken := a.ids[name]; taken {
		return uuid.Nil, fmt.Errorf("history.json: two things are called %s", name)
	}
	id := idAt(at, name)
	a.ids[name], a.kinds[name] = id, kind
	return id, nil
}

// called gives the id of what was named before.
func (a *author) called(name string) (uuid.UUID, error) {
	id, known := a.ids[name]
	if !known {
		return id, fmt.Errorf("history.json: nothing is called %s", name)
	}
	return id, nil
}

func (a *author) writePolicy() error {
	policy := fleet.DefaultPolicy()
	if err := json.Unmarshal(a.history.Policy.Policy, &policy); err != nil {
		return fmt.Errorf("history.json: policy: %w", err)
	}
	a.acts = append(a.acts, putPolicy(a.history.Policy.Recorded, &policy))
	return nil
}

func (a *author) writeVessels() error {
	for _, v := range a.history.Vessels {
		vessel := &fleet.Vessel{}
		if err := readPart("vessels", v.Name, vessel); err != nil {
			return err
		}
		vessel.HomePort, a.names[v.Name] = v.HomePort, vessel.Name
		id, err := a.name(fleet.KindVessel, v.Name, v.Recorded)
		if err != nil {
			return err
		}
		a.acts = append(a.acts, addRecord(v.Recorded, "harbour office", fleet.KindVessel, id, uuid.Nil, vessel))
		items, err := gearOf(v, id)
		if err != nil {
			return err
		}
		count := map[string]int{}
		for i, item := range items {
			count[item.Kind]++
			name := item.Kind
			if n := count[item.Kind]; n > 1 {
				name = fmt.Sprintf("%s-%d", name, n)
			}
			if err := a.fit(v.Recorded.Add(time.Duration(i+1)*time.Second), v.Name, name, item); err != nil {
				return err
			}
		}
	}
	return nil
}

// fit registers an item.
func (a *author) fit(at time.Time, vessel, name string, item *fleet.GearItem) error {
	id, err := a.name(fleet.KindGear, vessel+"/"+name, at)
	if err != nil {
		return err
	}
	a.items[vessel] = append(a.items[vessel], &fittedItem{id: id, item: item, from: at})
	a.acts = append(a.acts, addRecord(at, "harbour office", fleet.KindGear, id, a.ids[vessel], item))
	return nil
}

func (a *author) writeFitted() error {
	for _, f := range a.history.Fitted {
		item := &fleet.GearItem{}
		if err := json.Unmarshal(f.Body, item); err != nil {
			return fmt.Errorf("history.json: %s/%s: %w", f.Vessel, f.Item, err)
		}
		vessel, err := a.called(f.Vessel)
		if err != nil {
			return err
		}
		item.VesselID = &vessel
		if err := a.fit(f.Recorded, f.Vessel, f.Item, item); err != nil {
			return err
		}
	}
	for _, c := range a.history.Changes { // what is retired later is known before anything is said of the gear rigged
		var end struct {
			RetiredAt time.Time `json:"retired_at"`
		}
		if err := json.Unmarshal(c.Patch, &end); err != nil {
			return fmt.Errorf("history.json: %s: %w", c.Of, err)
		}
		for _, x := range slices.Concat(slices.Collect(maps.Values(a.items))...) {
			if x.id == a.ids[c.Of] {
				x.until = end.RetiredAt
			}
		}
	}
	return nil
}

// rigged gives her items in use at a time.
func (a *author) rigged(vessel string, at time.Time) (found []*fittedItem) {
	for _, x := range a.items[vessel] {
		if !x.item.Spare && !x.from.After(at) && (x.until.IsZero() || x.until.After(at)) {
			found = append(found, x)
		}
	}
	return found
}

func (a *author) writeInspections() error {
	for i, x := range a.history.Inspections {
		found := &fleet.Inspection{}
		if err := json.Unmarshal(x.Body, found); err != nil {
			return fmt.Errorf("history.json: inspection of %s: %w", x.Gear, err)
		}
		gear, err := a.called(x.Gear)
		if err != nil {
			return err
		}
		id, err := a.name(fleet.KindInspection, fmt.Sprintf("%s inspected %d", x.Gear, i), x.Recorded)
		if err != nil {
			return err
		}
		a.acts = append(a.acts, addUnder(x.Recorded, "rigger", fleet.KindInspection, id, gear, found))
	}
	return nil
}

func (a *author) writeIncidents() error {
	for _, x := range a.history.Incidents {
		note := &fleet.Incident{}
		if err := json.Unmarshal(x.Body, note); err != nil {
			return fmt.Errorf("history.json: %s: %w", x.Name, err)
		}
		vessel, err := a.called(x.Vessel)
		if err != nil {
			return err
		}
		deployment, err := a.called(x.Lay)
		if err != nil {
			return err
		}
		plan := a.ids["plan of "+x.Lay]
		note.VesselID, note.DeploymentID, note.PlanID = &vessel, &deployment, &plan
		for _, kind := range x.Gear {
			for _, item := range a.rigged(x.Vessel, note.OccurredAt) {
				if item.item.Kind == kind {
					note.GearIDs = append(note.GearIDs, item.id)
				}
			}
		}
		id, err := a.name(fleet.KindIncident, x.Name, x.Recorded)
		if err != nil {
			return err
		}
		closed, how := note.ClosedAt, note.ClosedHow // written down when it was
		note.ClosedAt, note.ClosedHow = nil, ""
		a.acts = append(a.acts, addRecord(x.Recorded, "harbour office", fleet.KindIncident, id, uuid.Nil, note))
		if closed == nil {
			continue
		}
		end, err := json.Marshal(map[string]any{"closed_at": closed, "closed_how": how})
		if err != nil {
			return err
		}
		a.acts = append(a.acts, changeRecord(historyChange{Recorded: closed.Add(10 * time.Minute), Of: x.Name, Patch: end}, fleet.KindIncident, id, 2))
	}
	return nil
}

func (a *author) writeChanges() error {
	for _, c := range a.history.Changes {
		id, err := a.called(c.Of)
		if err != nil {
			return err
		}
		a.further[c.Of]++
		a.acts = append(a.acts, changeRecord(c, a.kinds[c.Of], id, 1+a.further[c.Of]))
	}
	return nil
}

// roundMonths is how far the rounds lie apart.
const roundMonths = 6

// writeRounds writes the rounds that fall from one time to another.
func (a *author) writeRounds(from, to time.Time) {
	each := func(first, until time.Time, do func(at time.Time)) {
		for i := 0; ; i++ {
			at := first.AddDate(0, roundMonths*i, 0)
			if first.IsZero() || !at.Before(to) || !until.IsZero() && at.After(until) {
				return
			}
			if !at.Before(from) {
				do(at)
			}
		}
	}
	for _, r := range a.history.Rounds {
		each(r.Inspected, r.InspectedUntil, func(at time.Time) { a.inspectAll(r.Vessel, at) })
		each(r.Drilled, r.DrilledUntil, func(at time.Time) { a.drill(r, at) })
	}
}

// inspectAll inspects what bears load and the float; knives and lights are only counted.
func (a *author) inspectAll(vessel string, at time.Time) {
	for i, x := range a.rigged(vessel, at) {
		if slices.Contains([]string{"knife", "light", "chafe_gear", "spare_line"}, x.item.Kind) {
			continue
		}
		inspected := at.Add(time.Duration(i) * 7 * time.Minute)
		recorded := inspected.Add(5 * time.Minute)
		id := idAt(recorded, fmt.Sprintf("round %v", x.id))
		a.acts = append(a.acts, addUnder(recorded, "rigger", fleet.KindInspection, id, x.id, &fleet.Inspection{
			InspectedAt: inspected, Inspector: "rigger", Verdict: "fit",
		}))
	}
}

func (a *author) drill(r historyRound, at time.Time) {
	recorded := at.Add(3 * time.Hour)
	id := idAt(recorded, "drill "+r.Vessel)
	minutes := 90.0
	held := &fleet.Drill{HeldAt: at, Kind: r.Drill, CrewCount: r.Crew, DurationMin: &minutes}
	a.acts = append(a.acts, addUnder(recorded, "skipper", fleet.KindDrill, id, a.ids[r.Vessel], held))
}
