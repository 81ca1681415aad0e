package readiness

import "fmt"

// categories gives the wind and sea of the design categories that have a limit: the upper end of Beaufort force 8, 6 and 4
// in knots, and the significant wave height in m. Category A has none.
//
// Source: Directive 2013/53/EU, annex I, part A, 1, and ISO 12217-1 (2015), from memory.
var categories = map[string]struct{ windKt, hsM float64 }{
	"B": {40, 4},
	"C": {27, 2},
	"D": {16, 0.3},
}

// beyondPlan asks whether the usual weather is within what her plan in force answers for.
func beyondPlan(c *circumstances, tell tell) {
	p := c.standing()
	if p == nil {
		return
	}
	over := c.usual.over(p.WindKt+windSlackKt, p.HsM+hsSlackM)
	if over == "" {
		return
	}
	tell(func() Finding {
		return Finding{
			Text: sentence("the usual weather there, %s, is more than her plan of %s answers for: %s kt of wind and %s m of sea.",
				over, day(p.MadeAt), number(p.WindKt), number(p.HsM)),
			Fix:      "Choose another season or area, or make a plan for such weather and see whether her gear stands it.",
			Evidence: []Evidence{p.evidence()},
		}
	})
}

// beyondCategory asks whether the usual weather is within what she is built for.
func beyondCategory(c *circumstances, tell tell) {
	limit, limited := categories[c.Vessel.DesignCategory]
	if !limited {
		return
	}
	over := c.usual.over(limit.windKt, limit.hsM)
	if over == "" {
		return
	}
	tell(func() Finding {
		return Finding{
			Text: sentence("the usual weather there, %s, is more than she is built for: design category %s is for up to %s kt of wind and %s m of sea.",
				over, c.Vessel.DesignCategory, number(limit.windKt), number(limit.hsM)),
			Fix:      "Choose another season, area or vessel.",
			Evidence: []Evidence{c.vesselEvidence()},
		}
	})
}

// over names what of the weather passes the limits; empty for nothing.
func (w Weather) over(windKt, hsM float64) string {
	text := ""
	if w.WindKt != nil && *w.WindKt > windKt {
		text = fmt.Sprintf("%s kt of wind", number(*w.WindKt))
	}
	if w.HsM != nil && *w.HsM > hsM {
		if text != "" {
			text += " and "
		}
		text += fmt.Sprintf("%s m of sea", number(*w.HsM))
	}
	return text
}
