package readiness

// item is a thing that must be aboard.
type item struct {
	kind    string
	text    string // "No knife to cut away with"
	thing   string
	inForce bool // rigged, not spare
}

// missing makes the rule that a thing is there.
func missing(x item) rule {
	return func(c *circumstances, tell tell) {
		if c.has(x) {
			return
		}
		tell(func() Finding { return x.missed(c) })
	}
}

func (c *circumstances) has(x item) bool {
	for range c.aboard(x.kind, x.inForce) {
		return true
	}
	return false
}

func (x item) missed(c *circumstances) Finding {
	f := Finding{
		Text: x.text + " is registered aboard.", Fix: "Put a " + x.thing + " aboard and register it.",
		Since: &c.FirstSeen, Evidence: []Evidence{c.gearEvidence()},
	}
	if x.inForce {
		f.Text = x.text + " is registered as rigged for use."
		f.Fix = "Rig a " + x.thing + ", and register it as hers and not as spare."
	}
	for i := range c.Gear {
		g := &c.Gear[i]
		gone := g.Item.RetiredAt
		switch {
		case g.Item.Kind != x.kind:
		case gone == nil || gone.After(c.at): // aboard, as a spare
			f.Since = nil
			f.Evidence = append(f.Evidence, g.evidence())
		case f.Since != nil && !gone.Before(*f.Since):
			f.Since, f.Evidence = gone, append(f.Evidence, g.evidence())
			f.Text = sentence("%s was retired on %s and none has taken its place.", g.name(), day(*gone))
		}
	}
	return f
}
