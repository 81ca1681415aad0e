package board

import (
	"rideout/service"
)

// Incident is the form for an incident note.
type Incident struct {
	Frame
	service.Dossier
	Entered map[string]string // as it was sent, by the field's name
	GearIDs map[string]bool   // chosen
	Wrong   []WrongField
	Token   string // Idempotency-Key: sent twice, the form records once
	Kinds   []string
	Levels  []string
	Latest  string // nothing happened after this instant
}

// WrongField is what is wrong with a field of the form. The field's name is that of the contract.
type WrongField struct{ Field, Message string }

// HTML writes the page.
func (p Incident) HTML() ([]byte, error) { return write("incident", p) }

// Enter keeps what was sent, so that nothing has to be written twice.
func (p *Incident) Enter(sent map[string][]string) {
	for name, values := range sent {
		if len(values) == 0 {
			continue
		}
		switch name {
		case "gear_ids":
			for _, id := range values {
				p.GearIDs[id] = true
			}
		case "idempotency_key":
			p.Token = values[0]
		default:
			p.Entered[name] = values[0]
		}
	}
}

// Address is where the form is sent to.
func (p Incident) Address() string { return Root + "/vessels/" + p.ID.String() + "/incident" }

// Fault is what is wrong with a field; empty: nothing.
func (p Incident) Fault(field string) string {
	for _, w := range p.Wrong {
		if w.Field == field {
			return w.Message
		}
	}
	return ""
}

// Label is the label of a field.
func (p Incident) Label(field string) string { return labels[field] }

var labels = map[string]string{
	"occurred_at": "When it happened, UTC", "kind": "What it was", "severity": "How bad it was", "injured": "How many were injured",
	"dead": "How many died", "what_happened": "What happened", "what_was_learned": "What is done otherwise now",
	"grounds_vessel": "Does it keep her in port?", "deployment_id": "In which deployment", "gear_ids": "Gear concerned",
}

// Pieces lists the gear that can be chosen.
func (p Incident) Pieces() []Item {
	return Vessel{Dossier: p.Dossier, At: service.AsOf{ValidAt: p.Report.ValidAt}}.Items()
}

// Severities says the levels in words.
func (p Incident) Severities() []Choice {
	words := map[string]string{
		"near_miss": "near miss: nobody hurt, nothing lost", "minor": "minor", "serious": "serious", "very_serious": "very serious: a vessel or a life was lost",
	}
	var choices []Choice
	for _, l := range p.Levels {
		choices = append(choices, Choice{l, words[l], p.Entered["severity"] == l})
	}
	return choices
}

// KindsToChoose says the kinds in words.
func (p Incident) KindsToChoose() []Choice {
	var choices []Choice
	for _, k := range p.Kinds {
		choices = append(choices, Choice{k, plain(k), p.Entered["kind"] == k})
	}
	return choices
}

// Uses lists her deployments to choose from.
func (p Incident) Uses() []Choice {
	choices := []Choice{{"", "none of these", p.Entered["deployment_id"] == ""}}
	for _, d := range p.Deployments {
		choices = append(choices, Choice{d.ID.String(), when(d.Is.DeployedAt), p.Entered["deployment_id"] == d.ID.String()})
	}
	return choices
}

// Grounds are the answers to whether it keeps her in port.
func (p Incident) Grounds() []Choice {
	given := p.Entered["grounds_vessel"]
	return []Choice{
		{"", "as its severity says: a serious or very serious one does, until it is closed", given == ""},
		{"true", "yes, until it is closed", given == "true"},
		{"false", "no", given == "false"},
	}
}
