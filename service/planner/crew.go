package planner

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// Crew is who does what, and what is agreed and shown and sent.
type Crew struct {
	Roles      []CrewRole       `json:"roles"`
	Signals    []HandSignal     `json:"hand_signals"`
	Shown      []PrescribedSign `json:"lights_shapes_sounds"`
	Securite   string           `json:"securite_text"`
	Hauling    *Hauling         `json:"hauling,omitempty"`
	ShortOf    string           `json:"short_handed,omitempty"` // what the crew aboard is too few for
	CallInTime string           `json:"call_in_time"`
}

// CrewRole is a task and who has it; Who is empty where no crew was named.
type CrewRole struct {
	Role string `json:"role"` // skipper, helm, foredeck, line_tender, lookout
	Who  string `json:"who"`
	Does string `json:"does"`
}

// HandSignal is agreed beforehand, for where no voice carries.
type HandSignal struct {
	Meaning string `json:"meaning"`
	Sign    string `json:"sign"`
}

// PrescribedSign is a light, a shape or a sound a rule prescribes; which applies is the master's decision.
type PrescribedSign struct {
	What string `json:"what"`
	Rule string `json:"rule"`
	Note string `json:"note"`
}

// Hauling is the pull that brings the gear back, against what is there to pull it.
type Hauling struct {
	ByTripLineN Band    `json:"by_trip_line_n"`
	ByRodeN     Band    `json:"by_rode_n"`
	AvailableN  float64 `json:"available_n"`
	From        string  `json:"from"` // windlass, crew
	MinutesByIt float64 `json:"minutes"`
	FloatNeedsN float64 `json:"float_needs_n"` // buoyancy to carry trip line and tripped canopy
	FloatHasN   float64 `json:"float_has_n"`
	Text        string  `json:"text"`
}

// crewRoles are the tasks on deck, in the order they are filled.
var crewRoles = []string{"skipper", "helm", "foredeck", "line_tender", "lookout"}

// duties say what each task is, in the order of crewRoles.
var duties = []string{
	"decides, gives the one word that starts and stops each step, watches the whole, speaks on the radio",
	"holds her where the skipper asks, works the engine, keeps the line clear of the propeller",
	"leads and makes fast at the bow, hands the parts over the side, signals aft; the one voice or hand of the foredeck",
	"keeps the line clear to run, pays out and snubs from behind the strong point, watches feet",
	"looks and listens all round, by radar and AIS too, counts heads, keeps the log of strain, chafe and position",
}

// sharesWith names who takes a task nobody is left for: the roles asked in turn.
var sharesWith = map[string][]string{
	"skipper": {"helm", "line_tender", "foredeck", "lookout"}, "helm": {"skipper", "lookout", "line_tender", "foredeck"},
	"foredeck": {"line_tender", "skipper", "lookout", "helm"}, "line_tender": {"foredeck", "skipper", "lookout", "helm"},
	"lookout": {"skipper", "helm", "line_tender", "foredeck"},
}

// crew writes the roles, the signals, what is shown and sent, and the hauling.
func (c *computation) crew() error {
	who, short := assign(c.request.Crew)
	w := &Crew{Roles: []CrewRole{}, Signals: slices.Clone(handSignals), Shown: c.shown(), Securite: c.securite(), ShortOf: short, CallInTime: c.callInTime()}
	for i, role := range crewRoles {
		w.Roles = append(w.Roles, CrewRole{role, who[role], duties[i]})
	}
	var err error
	w.Hauling, err = c.hauling()
	c.plan.Crew = w
	return err
}

// assign fills the roles: those asked for first, then the others in order, then by sharing. It says
// what the hands named are too few for.
func assign(hands []Hand) (who map[string]string, short string) {
	who = map[string]string{}
	if len(hands) == 0 {
		return who, ""
	}
	join := func(role, name string) {
		if who[role] != "" {
			name = who[role] + ", " + name
		}
		who[role] = name
	}
	var free []string
	for _, h := range hands {
		if h.Role == "" {
			free = append(free, h.Name)
			continue
		}
		join(h.Role, h.Name)
	}
	spare := "lookout" // for those left over
	for _, role := range crewRoles {
		if who[role] == "" && len(free) > 0 {
			who[role], free = free[0], free[1:]
		}
	}
	for _, name := range free {
		join(spare, name)
	}
	return who, share(who, len(hands))
}

// share gives the tasks still open to those who have another.
func share(who map[string]string, hands int) string {
	filled := maps.Clone(who)
	extra := map[string][]string{} // by the role that takes them
	for _, role := range crewRoles {
		for _, other := range sharesWith[role] {
			if who[role] == "" && filled[other] != "" {
				who[role] = filled[other]
				extra[other] = append(extra[other], words(role))
			}
		}
	}
	var doubled []string
	for _, role := range crewRoles {
		if more := extra[role]; len(more) > 0 {
			doubled = append(doubled, fmt.Sprintf("%s takes %s beside %s", filled[role], strings.Join(more, ", "), words(role)))
		}
	}
	if len(doubled) == 0 {
		return ""
	}
	text := fmt.Sprintf("%d named for five tasks: %s. Pay out more slowly, one step after another, and rest before it.", hands, strings.Join(doubled, "; "))
	if hands == 1 {
		text += " Alone, do nothing forward that cannot be done clipped on with the engine out of gear."
	}
	return text
}

// callInTime says whom to tell and when.
func (c *computation) callInTime() string {
	t := c.timetable
	deploy := "before she deploys, " + clock(t.deploy.From) + " at the latest by this plan"
	if t.unsafe || c.request.Lying != nil {
		deploy = "now"
	}
	text := fmt.Sprintf("Tell the coast guard and somebody ashore %s: position, what she lies to, drift, number aboard, what still works. Agree the next call and keep to it. If help may be needed, ask while she is still in hand and far from a shore: help takes hours to come, and a call costs nothing. PAN PAN if she is in difficulty, MAYDAY if life is in danger.", deploy)
	if by, said := c.seaRoomSays("call"); by != nil {
		text += " " + said
	}
	return text
}

// seaRoomSays is the latest hour the sea room sets for an act; nil: none.
func (c *computation) seaRoomSays(act string) (by *time.Time, text string) {
	if c.plan.SeaRoom == nil {
		return nil, ""
	}
	for _, d := range c.plan.SeaRoom.LatestToAct {
		if d.Act == act {
			return d.By, d.Text
		}
	}
	return nil, ""
}
