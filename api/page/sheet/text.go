package sheet

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"slices"
	"strings"
	"time"

	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/service/planner"
)

// Limits of the text, so that a satellite messenger carries it in one go.
const (
	TextWidth = 40   // characters in a line
	TextBytes = 1200 // gzip coded
)

// passage is a part of the text. A lower weight is left out sooner when it gets too long; 0 never is.
type passage struct {
	weight int
	text   string
}

// Text writes the sheet in short: plain ASCII in short lines, what matters most first. What does not fit TextBytes
// is left out, the least needed first, and the text says so.
func (s Sheet) Text() []byte {
	parts := s.passages()
	for cut := 1; ; cut++ {
		body := set(parts, cut > 1)
		if coded(body) <= TextBytes || cut > mostWeight {
			return body
		}
		parts = slices.DeleteFunc(parts, func(p passage) bool { return p.weight == cut })
	}
}

const mostWeight = 8

func (s Sheet) passages() []passage {
	p := s.Subject.Plan
	list := []passage{
		{0, "SEA ANCHOR PLAN " + s.Vessel},
		{0, "OUT OF DATE AFTER " + zulu(s.expires)},
		{0, "SKIPPER DECIDES. GEAR MAKER, LOCAL RULES, FLAG STATE AND RESCUE SERVICE COME FIRST."},
	}
	if l := p.Lying; l != nil {
		out := "NOT KNOWN"
		if l.RodeOutM > 0 {
			out = s.length(l.RodeOutM)
		}
		list = append(list, passage{0, "LIES TO IT NOW, OUT: " + out})
	}
	if part := figure.Governing(p); part != nil {
		strength := "WEAKEST " + part.Part + " " + measure.Percent(part.Use)
		switch {
		case part.Use > 1:
			strength += " - NOT STRONG ENOUGH"
		case overAtHighEnd(p, *part):
			strength += " - OVER 100 % AT THE HIGH END"
		}
		list = append(list, passage{0, strength})
	}
	list = append(list, passage{0, "PAY OUT; PEAK KN (LOW-HIGH)"})
	for _, phase := range p.Phases {
		l := phase.Loads
		list = append(list, passage{0, fmt.Sprintf("%s %s PK %s (%s-%s)", strings.ToUpper(words(phase.Name)), s.length(phase.PayOutM), measure.Kilonewtons(l.PeakN.Mid), measure.Kilonewtons(l.PeakN.Low), measure.Kilonewtons(l.PeakN.High))})
		list = append(list, passage{7, fmt.Sprintf(" WIND %s G%s SEA %.1fM/%.0fS DRIFT %.1fKN", measure.Knots(phase.WindKt), measure.Knots(phase.GustKt), phase.HsM, phase.TpS, l.DriftKt.Mid)})
		for _, span := range phase.Spans {
			list = append(list, passage{6, " " + zulu(span.From) + " TO " + zulu(span.Until)})
		}
	}
	list = append(list, passage{0, fmt.Sprintf("CANOPY %.1fM AT %.1fM DEPTH", p.Canopy.UsedDiameterM, p.Canopy.DepthM)})
	list = append(list, bridleText(p)...)
	list = append(list, s.hourTexts()...)
	list = append(list, s.roomTexts()...)
	for i, caution := range shortCautions {
		list = append(list, passage{min(i+1, 3), caution})
	}
	return append(list, passage{0, "ID " + s.ID}, passage{0, "SHA " + s.Hash[:min(16, len(s.Hash))]})
}

// overAtHighEnd tells of the governing part whether the high end of the load in any phase is beyond its capacity, as the summary
// says it.
func overAtHighEnd(p planner.Plan, part planner.Part) bool {
	return slices.ContainsFunc(p.Phases, func(phase planner.Phase) bool { return phase.Loads.PeakN.High > part.CapacityN })
}

// length is a length of rode in the units asked for.
func (s Sheet) length(m float64) string {
	if s.Subject.Units == measure.Trade {
		return fmt.Sprintf("%.0fM/%sFT", m, s.Subject.Units.Feet(m))
	}
	return fmt.Sprintf("%.0fM", m)
}

// shortCautions are planner.Cautions in short, the first to go first.
var shortCautions = []string{
	"LOADS ARE ESTIMATES: READ THE BAND.",
	"ONE VOICE TO THE HELM, OR HAND SIGNALS.",
	"CHAFE PARTS RODES: CHECK, SHIFT THE NIP.",
	"FAST BEFORE THE CANOPY GOES. A PARTED RODE RECOILS. CLEAR OF THE BIGHT.",
}

func bridleText(p planner.Plan) []passage {
	b := p.Bridle
	switch {
	case b == nil:
		return nil
	case b.AftPoint == "":
		return []passage{{5, "SINGLE RODE FROM " + b.BowPoint}}
	}
	return []passage{{5, fmt.Sprintf("LEGS %.1fM %s, %.1fM %s; WIND %.0fDEG %s", b.BowLegM, b.BowPoint, b.AftLegM, b.AftPoint, b.HeadingDeg, strings.ToUpper(b.Side))}}
}

func (s Sheet) hourTexts() []passage {
	if len(s.Hours) == 0 {
		return []passage{{0, "HOURS: NOT COMPUTED"}}
	}
	var list []passage
	for _, h := range s.Hours {
		text := strings.ToUpper(h.Action) + timeOf(h.hour)
		if h.hour.EveryH != nil {
			text += fmt.Sprintf(" EVERY %.0f MIN", 60**h.hour.EveryH)
		}
		if h.hour.PayOutM != nil {
			text += " " + s.length(*h.hour.PayOutM)
		}
		if h.hour.Verdict == "too_late" || h.hour.Verdict == "not_in_forecast" {
			text += " " + strings.ToUpper(h.Verdict)
		}
		list = append(list, passage{8, text})
	}
	return list
}

// timeOf is by when an act must be done, from when one that lasts begins, or before when one must not.
func timeOf(h planner.Hour) string {
	switch {
	case h.Until != nil && (h.Action == "rig" || h.Action == "brief" || h.Action == "deploy"):
		return " BY " + zulu(*h.Until)
	case h.From == nil:
		return ""
	case h.Action == "retrieve":
		return " NOT BEFORE " + zulu(*h.From)
	}
	return " FROM " + zulu(*h.From)
}

func (s Sheet) roomTexts() []passage {
	room := s.Subject.Plan.SeaRoom
	if room == nil {
		return []passage{{0, "SEA ROOM: NOT COMPUTED"}}
	}
	ashore := "ASHORE BY THE END: " + measure.Percent(room.ProbabilityAshore) + within(room.TimeToLeeShoreH)
	if room.ProbabilityAshore == 0 { // no promise
		ashore = fmt.Sprintf("ASHORE BY THE END: NONE OF %d DRIFTS", room.Particles)
	}
	list := []passage{{0, ashore}}
	if h := room.NearestHazard; h != nil {
		list = append(list, passage{4, fmt.Sprintf("NEAREST %s %s %s", strings.ToUpper(h.Kind), measure.Miles(h.DistanceNM), measure.Bearing(h.BearingDeg))})
	}
	for _, d := range room.LatestToAct {
		if d.By != nil {
			list = append(list, passage{8, "LATEST TO " + strings.ToUpper(d.Act) + " " + zulu(*d.By)})
		}
	}
	return append(list, passage{4, "ISLETS ARE MISSING: USE THE CHART."})
}

func within(r planner.Reach) string {
	if r.Low == nil {
		return ""
	}
	return ", EARLIEST " + measure.Hours(*r.Low)
}

// zulu writes an instant as messages do: day, hour and minute in UTC, month.
func zulu(t time.Time) string { return strings.ToUpper(t.UTC().Format("021504Z Jan")) }

// set breaks the passages into lines.
func set(parts []passage, shortened bool) []byte {
	var b strings.Builder
	for _, p := range parts {
		fold(&b, ascii(p.text))
	}
	if shortened {
		fold(&b, "SHORTENED: READ THE WHOLE SHEET.")
	}
	return []byte(b.String())
}

// fold breaks a line at spaces; what follows is indented.
func fold(b *strings.Builder, text string) {
	line := ""
	for i, word := range strings.Split(text, " ") {
		for len(word) > TextWidth-1 { // longer than a line
			b.WriteString(line + "\n")
			line, word = " "+word[:TextWidth-1], word[TextWidth-1:]
		}
		if i > 0 && len(line)+1+len(word) > TextWidth {
			b.WriteString(line + "\n")
			line = " " + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	b.WriteString(line + "\n")
}

// letters are what names in northern waters have beyond ASCII, as telex wrote them.
var letters = strings.NewReplacer("å", "aa", "Å", "AA", "ä", "ae", "Ä", "AE", "æ", "ae", "Æ", "AE", "ö", "oe", "Ö", "OE", "ø", "oe", "Ø", "OE", "ü", "ue", "Ü", "UE",
	"ß", "ss", "é", "e", "É", "E", "è", "e", "á", "a", "Á", "A", "í", "i", "Í", "I", "ó", "o", "Ó", "O", "ú", "u", "Ú", "U", "ý", "y", "Ý", "Y", "ð", "d", "Ð", "D", "þ", "th", "Þ", "TH", "ñ", "n", "ç", "c", "°", " DEG")

// ascii writes a text in 7-bit ASCII.
func ascii(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, letters.Replace(text))
}

// coded is how long a text is when gzip coded, as the service codes answers.
func coded(body []byte) int {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write(body) // a bytes.Buffer takes everything
	_ = w.Close()
	return b.Len()
}
