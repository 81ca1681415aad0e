package planner

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"rideout/service/physics/quantity"
)

// kilo prints a force in kN.
func kilo(n float64) string {
	if math.Abs(n) < 9950 {
		return fmt.Sprintf("%.1f", n/1000)
	}
	return fmt.Sprintf("%.0f", n/1000)
}

// plural says how many of the steps are meant.
func plural(k, n int) string {
	if k == n && n == 1 {
		return "the one step"
	}
	return fmt.Sprintf("%d of %d steps", k, n)
}

func numbered(name string, i, n int) string {
	if n == 1 {
		return name
	}
	return fmt.Sprintf("%s %d", name, i+1)
}

// plainNumber prints a number as short as it is.
func plainNumber(x float64) string { return strconv.FormatFloat(r1(x), 'f', -1, 64) }

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }

// summary is a paragraph a skipper can read out.
func (c *computation) summary() string {
	p := c.plan
	worst := p.Phases[c.worst]
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s: the hardest of it is the %s about %s, wind %.0f kt gusting %.0f, sea %.1f m. ",
		c.request.Vessel.Name, words(string(c.request.Intent)), words(worst.Name), clock(worst.WorstAt), worst.WindKt, worst.GustKt, worst.HsM)
	b.WriteString(lyingText(c.request.Lying))
	fmt.Fprintf(&b, "On a canopy of %.1f m pay out %.0f m of rode%s; she drifts at about %.1f kt (%.1f to %.1f). ",
		p.Canopy.UsedDiameterM, p.Rode.PayOutM, c.moreElsewhere(), p.Loads.DriftKt.Mid, p.Loads.DriftKt.Low, p.Loads.DriftKt.High)
	fmt.Fprintf(&b, "Steady pull %s kN; the highest load in three hours stays below %s kN nine times in ten, and may be %s to %s kN, mostly depending on %s. ",
		kilo(p.Loads.SteadyN.Mid), kilo(p.Loads.PeakN.Mid), kilo(p.Loads.PeakN.Low), kilo(p.Loads.PeakN.High), p.Bands.Drives)
	g := c.governing()
	switch {
	case g.Use > 1:
		fmt.Fprintf(&b, "This set is NOT strong enough: the %s would be at %.0f %% of its capacity. ", g.Part, 100*g.Use)
	case c.demand().High > c.capacityN:
		fmt.Fprintf(&b, "The %s governs, at %.0f %% of its capacity, and is over it at the high end. ", g.Part, 100*g.Use)
	default:
		fmt.Fprintf(&b, "The %s governs, at %.0f %% of its capacity. ", g.Part, 100*g.Use)
	}
	b.WriteString("An aid to the skipper's judgement, who decides; the gear maker and the rescue service come first.")
	return b.String()
}

// lyingText says that she lies to it already; empty if she does not.
func lyingText(l *Lying) string {
	switch {
	case l == nil:
		return ""
	case l.RodeOutM == 0:
		return "She lies to it already; how much rode is out was not reported. "
	}
	return fmt.Sprintf("She lies to it already, with %.0f m of rode out. ", l.RodeOutM)
}

// mostRode is the phase that asks for the most rode.
func (c *computation) mostRode() Phase {
	return slices.MaxFunc(c.plan.Phases, func(a, b Phase) int { return cmp.Compare(a.PayOutM, b.PayOutM) })
}

// moreElsewhere names the phase that asks for the most rode where it is not the worst.
func (c *computation) moreElsewhere() string {
	most := c.mostRode()
	if most.PayOutM <= c.plan.Rode.PayOutM {
		return ""
	}
	return fmt.Sprintf(" in the %s, but %.0f m in the %s about %s, whose sea asks for more", words(c.plan.Phases[c.worst].Name), most.PayOutM, words(most.Name), clock(most.WorstAt))
}

func (c *computation) payOutReason(i int) string {
	leastM := shortestM(c.spells[i].worst)
	switch l := c.paid(i); {
	case c.fits[i] == fitsBand && l <= 1.3*leastM:
		return "short of it the canopy would not hang deep enough or clear of the vessel; every part is within capacity to the high end"
	case c.fits[i] == fitsBand:
		return fmt.Sprintf("the shortest length tried that keeps every part within capacity to the high end, and the rode slack for less than %.0f %% of the time", 100*c.policy.SlackLimit)
	case c.fits[i] == fitsMiddle:
		return "no length carried keeps every part within capacity to the high end; of those that do at the middle estimate this one has the least load at the high end"
	}
	if t := found(c.studies[i]); t.peakN.mid <= c.capacityN {
		return fmt.Sprintf("all that is carried among the lengths tried; every part is within capacity at the middle estimate (%.0f %% of it, %.0f %% at the high end), but the rode hangs slack for %.0f %% of the time, and snaps when it comes taut",
			100*t.peakN.mid/c.capacityN, 100*t.peakN.high/c.capacityN, 100*t.slack)
	}
	return "all that is carried among the lengths tried; it does not keep every part within capacity"
}

func (c *computation) advice(i int, p Phase) string {
	s := fmt.Sprintf("Pay out %.0f m. ", p.PayOutM)
	switch lying := c.request.Lying != nil; {
	case c.spells[i].class == 0 && lying:
		s += "Settled enough to check chafe and to bring gear back."
	case c.spells[i].class == 0:
		s += "Settled enough to rig, to check chafe and to bring gear back."
	case c.spells[i].class == 1 && lying:
		s += "Check chafe every watch."
	case c.spells[i].class == 1:
		s += "Rig and brief before this begins; check chafe every watch."
	case c.spells[i].class == 2 && lying:
		s += "Check and shift the nip often, one person clipped on and clear of the rode."
	case c.spells[i].class == 2:
		s += "Be lying to it before this begins; check and shift the nip often, one person clipped on and clear of the rode."
	default:
		s += "Stay clear of the foredeck except to save the rode; do not try to retrieve."
	}
	if p.SnapsPerHour > 1 {
		s += fmt.Sprintf(" The rode snaps taut about %.0f times an hour: more rode softens it.", p.SnapsPerHour)
	}
	if p.GustSteadyN > 1.3*p.Loads.SteadyN.Mid {
		s += fmt.Sprintf(" In the gusts the steady pull rises to %s kN.", kilo(p.GustSteadyN))
	}
	return s
}

// heading of the vessel in words, for comparison.
func headingText(a quantity.Angle) string {
	return fmt.Sprintf("%.0f degrees off the wind", a.Degrees())
}
