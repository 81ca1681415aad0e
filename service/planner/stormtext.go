package planner

import (
	"fmt"
	"strings"
	"time"
)

// Text is the storm plan for a link that carries letters alone: plain ASCII, one thing a line.
func (s StormPlan) Text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("STORM PLAN %s", strings.ToUpper(ascii(s.Vessel)))
	if s.CallSign != "" || s.MMSI != "" {
		line("CALL %s MMSI %s", ascii(s.CallSign), s.MMSI)
	}
	if p := s.Position; p != nil {
		line("START %s %s AT %s", latitude(p.LatitudeDeg), longitude(p.LongitudeDeg), inShort(s.From))
	}
	line("VALID TO %s", inShort(s.Until))
	line("CANOPY %.1f M, RODE %s", s.CanopyM, strings.ToUpper(s.Rode))
	switch l := s.Lying; {
	case l == nil:
	case l.RodeOutM == 0:
		line("LYING TO IT, RODE OUT NOT KNOWN")
	default:
		line("LYING TO IT, %.0f M OUT", l.RodeOutM)
	}
	if s.HeadDeg != nil {
		line("LIES %.0f DEG OFF WIND, DRIFT %.1f KT (%.1f-%.1f)", *s.HeadDeg, s.DriftKt.Mid, s.DriftKt.Low, s.DriftKt.High)
	}
	for _, p := range s.PayOut {
		line("%s FROM %s: %.0f KT, SEA %.1f M, OUT %.0f M, PEAK %.0f KN (%.0f-%.0f)", strings.ToUpper(words(p.Name)), inShort(p.From), p.WindKt, p.HsM, p.PayOutM, p.PeakN.Mid/1000, p.PeakN.Low/1000, p.PeakN.High/1000)
	}
	line("WEAKEST %s AT %.0f PCT", strings.ToUpper(s.Weakest), 100*s.Use)
	for _, h := range s.Hours {
		act := strings.ToUpper(h.Action)
		if h.PayOutM != nil {
			act = fmt.Sprintf("PAY OUT TO %.0f M", *h.PayOutM)
		}
		line("%s %s", act, s.when(h))
	}
	s.room(line)
	line("%s", strings.ToUpper(s.Caution))
	line("PLAN %s", s.PlanID)
	return b.String()
}

func (s StormPlan) when(h StormHour) string {
	switch {
	case h.Verdict == "too_late":
		return "TOO LATE"
	case h.At == nil:
		return "NOT IN FORECAST"
	case h.Action == "retrieve":
		return "NOT BEFORE " + inShort(*h.At)
	}
	return "BY " + inShort(*h.At)
}

func (s StormPlan) room(line func(string, ...any)) {
	r := s.SeaRoom
	if r == nil {
		return
	}
	earliest := "NOT IN FORECAST"
	if r.EarliestH != nil {
		earliest = fmt.Sprintf("%.0f H", *r.EarliestH)
	}
	line("SHORE EARLIEST %s, PROB %.1f PCT", earliest, 100*r.Probability)
	if n := r.Nearest; n != nil {
		line("NEAREST %s %.1f NM BEARING %03.0f", strings.ToUpper(ascii(n.Name)), n.DistanceNM, n.BearingDeg)
	}
	if r.CallBy != nil {
		line("CALL BY %s", inShort(*r.CallBy))
	}
}

func inShort(t time.Time) string { return strings.ToUpper(t.UTC().Format("02 Jan 1504Z")) }

func latitude(deg float64) string { return degreesMinutes(deg, "%02d-%04.1f%s", "N", "S") }

func longitude(deg float64) string { return degreesMinutes(deg, "%03d-%04.1f%s", "E", "W") }

// degreesMinutes prints an angle as charts do, in degrees and minutes to a tenth.
func degreesMinutes(deg float64, format, positive, negative string) string {
	hemisphere := positive
	if deg < 0 {
		deg, hemisphere = -deg, negative
	}
	tenths := int(deg*600 + 0.5)
	return fmt.Sprintf(format, tenths/600, float64(tenths%600)/10, hemisphere)
}

// ascii puts a question mark for what the link does not carry.
func ascii(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
}
