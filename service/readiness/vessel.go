package readiness

// notInService asks whether she sails at all.
func notInService(c *circumstances, tell tell) {
	if c.Vessel.Status == "in_service" || c.Vessel.Status == "" {
		return
	}
	tell(func() Finding {
		f := Finding{
			Text:  sentence("she is recorded as %s.", plain(c.Vessel.Status)),
			Fix:   "Put her back into service, and record it, before she is asked to sail.",
			Since: &c.Since, Evidence: []Evidence{c.vesselEvidence()},
		}
		if c.Vessel.Status == "sold" || c.Vessel.Status == "lost" {
			f.Fix = "Nothing: she is no longer the organisation's to sail. If that is wrong, correct her status."
		}
		return f
	})
}

// grounded asks for incidents that keep her in port.
func grounded(c *circumstances, tell tell) {
	for n := range c.Incidents {
		i := &c.Incidents[n]
		if !i.Grounds(c.at) {
			continue
		}
		tell(func() Finding {
			return Finding{
				Text:  sentence("a %s incident (%s) of %s keeps her in port: it is not closed.", plain(i.Severity), plain(i.Kind), day(i.OccurredAt)),
				Fix:   "Put right what the note tells of, then record when and how it was closed.",
				Since: &i.OccurredAt, Evidence: []Evidence{{"incident", "/v1/incidents/" + i.ID.String()}},
			}
		})
	}
}
