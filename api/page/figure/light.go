package figure

import (
	"time"

	"rideout/api/page/drawing"
	"rideout/service/physics/geo"
	"rideout/service/physics/sun"
)

// light draws day, twilight and dark at the position; without one it says so.
func (h hours) light(top, high float64) {
	h.name(top+high-1, "light")
	end := h.t.begin.Add(time.Duration(h.t.most * float64(time.Hour)))
	spans := spansOf(h.Subject, h.t.begin, end)
	if spans == nil {
		h.d.Box(drawing.Thin, drawing.NoFill, h.t.from, top, h.t.to-h.t.from, high)
		h.d.Write(drawing.Point{X: h.t.from + 1, Y: top + high - 1.1}, drawing.Start, "not known without a position")
		return
	}
	fills := map[sun.Kind]drawing.Fill{sun.Daylight: drawing.Day, sun.CivilTwilight: drawing.Hatch, sun.Dark: drawing.Night}
	for _, s := range spans {
		x0, x1 := h.t.when(time.Unix(int64(s.From), 0)), h.t.when(time.Unix(int64(s.To), 0))
		h.d.Box(drawing.Thin, fills[s.Kind], x0, top, x1-x0, high)
		if text := lightWords[s.Kind]; s.Kind != sun.CivilTwilight && x1-x0 > wide(text)+2 {
			h.d.Add(drawing.Label{At: drawing.Point{X: (x0 + x1) / 2, Y: top + high - 1.1}, Anchor: drawing.Middle, Text: text, OnDark: s.Kind == sun.Dark})
		}
	}
}

var lightWords = map[sun.Kind]string{sun.Daylight: "day", sun.CivilTwilight: "twilight", sun.Dark: "dark"}

// spansOf divides the time by its light; nil where that is not known.
func spansOf(s Subject, from, to time.Time) []sun.Span {
	p := s.Request.Position
	if p == nil {
		return nil
	}
	at, err := geo.At(p.LatitudeDeg, p.LongitudeDeg)
	if err != nil {
		return nil
	}
	spans, err := sun.Spans(at, sun.Instant(from.Unix()), sun.Instant(to.Unix()))
	if err != nil { // longer than the sun's spans reach
		return nil
	}
	return spans
}
