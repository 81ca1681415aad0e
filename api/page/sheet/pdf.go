package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"rideout/api/page/drawing"
	"rideout/api/page/figure"
)

// PDF writes the sheet as two pages in black, drawings as lines and text as text.
func (s Sheet) PDF(paper Paper) ([]byte, error) {
	set := fitted(s, paper)
	p := newPress(paper)
	p.pdf.SetTitle("Crew sheet: "+s.Vessel, true)
	p.pdf.SetSubject("Plan "+s.ID, true)
	p.pdf.SetCreator(s.Engine, true)
	p.pdf.SetLang("en")
	made := time.Unix(0, 0).UTC() // of a plan that is not kept; left out, it would be the clock's
	if at := s.Subject.Plan.CreatedAt; at != nil {
		made = *at
	}
	p.pdf.SetCreationDate(made)
	p.pdf.SetModificationDate(made)
	left, top := paper.left(), leastMM
	p.pdf.AddPage()
	s.first(p, left, top, set)
	s.foot(p, left, top+paper.block(), 1)
	p.pdf.AddPage()
	used := s.second(p, left, top, set)
	s.log(p, left, top+used, set)
	s.foot(p, left, top+paper.block(), 2)
	var out bytes.Buffer
	if err := p.pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("write the sheet as PDF: %w", err)
	}
	return out.Bytes(), nil
}

const footMM = 7.5

// head sets what stands at the top of the first page, and gives the height it takes.
func (s Sheet) head(p *press, x, y float64) float64 {
	const boxed, high = 78.0, 13.0
	size := p.size
	right := x + blockWidth - boxed
	p.size = leastPt
	p.line(x, y, false, plain("Crew sheet, "+s.Intent))
	p.size = 17
	for p.size > 9 && p.width(bold(s.Vessel)) > blockWidth-boxed-4 {
		p.size--
	}
	p.line(x, y+4.2, false, bold(s.Vessel))
	p.box(right, y, boxed, high, 0.8)
	p.size = leastPt
	p.line(right+2, y+0.9, false, bold("OUT OF DATE AFTER"))
	p.size = 12.5
	p.line(right+2, y+3.9, false, bold(s.Expires))
	p.size = leastPt
	p.line(right+2, y+9.1, false, plain(s.ExpiresWhy+": get a new plan"))
	p.size = size
	return high + 1.5 + s.deferral(p, x, y+high+1.5)
}

// headAgain sets the same in short on the second page.
func (s Sheet) headAgain(p *press, x, y float64) float64 {
	size := p.size
	p.size = 11
	expires := bold("OUT OF DATE AFTER " + s.Expires)
	room := blockWidth - p.width(expires) - 4
	p.line(x+blockWidth, y, true, expires)
	for p.size > leastPt && p.width(bold(s.Vessel)) > room {
		p.size -= 0.5
	}
	h := p.write(x, y, room, bold(s.Vessel)) + 0.8
	p.size = size
	return h + s.deferral(p, x, y+h)
}

// deferral sets whose judgement comes first.
func (s Sheet) deferral(p *press, x, y float64) float64 {
	size := p.size
	p.size = max(size, leastPt)
	h := p.write(x, y, blockWidth, bold(s.Deferral)) + 0.8
	p.rule(x, y+h, blockWidth, 0.5)
	p.size = size
	return h + 1
}

// foot names the plan at the bottom of the block.
func (s Sheet) foot(p *press, x, bottom float64, number int) {
	p.size = leastPt
	y := bottom - footMM + 0.6
	p.rule(x, y, blockWidth, 0.2)
	h := p.line(x, y+0.4, false, plain(fmt.Sprintf("Plan %s, made %s by %s. Page %d of 2.", s.ID, s.Made, s.Engine, number)))
	p.line(x, y+0.4+h, false, plain("Inputs SHA-256 "+s.Hash))
}

// first sets the plan: what to read out, pay-out, rig, hours. It gives the height it takes, foot included.
func (s Sheet) first(p *press, x, y float64, f fit) float64 {
	p.size = f.First
	h := s.head(p, x, y)
	if s.Alarm != "" {
		height := p.write(x+2, y+h+0.9, blockWidth-4, bold(s.Alarm)) + 1.8
		p.box(x, y+h, blockWidth, height, 0.8)
		h += height + 0.6
	}
	h += p.heading(x, y+h, blockWidth, "TO READ OUT")
	h += p.write(x, y+h, blockWidth, plain(s.Summary))
	h += p.heading(x, y+h, blockWidth, "PAY OUT, BY PHASE")
	h += s.payOutTable(p, x, y+h)
	h += p.write(x, y+h, blockWidth, s.partRuns()...) + 1.5
	if !p.dry && f.Rig > 0 {
		drawing.Print(p.pdf, figure.Rig(s.Subject, figure.Size{Width: blockWidth, Height: f.Rig}), x, y+h)
	}
	h += f.Rig
	h += s.hours(p, x, y+h, f)
	h += s.list(p, x, y+h, "SEA ROOM", s.SeaRoom)
	h += s.list(p, x, y+h, "LIMITS THIS CASE TOUCHES", s.unsaid())
	h += s.band(p, x, y+h, slices.Concat(s.apart(f)[:f.OnFirst]...), f)
	if stages := s.onFirst(f); len(stages) > 0 {
		h += s.work(p, x, y+h, f, stages)
	}
	return h + footMM
}

func (s Sheet) payOutTable(p *press, x, y float64) float64 {
	columns := []column{
		{"Phase", 0.1, true},
		{"PAY OUT", 0.08, true},
		{"Peak", 0.065, true},
		{"Low to high", 0.095, false},
		{"Steady", 0.065, false},
		{"Drift", 0.14, false},
		{"When, UTC", 0.205, false},
		{"Wind, kn", 0.16, false},
		{"Sea", 0.09, false},
	}
	var rows [][]string
	for _, r := range s.PayOut {
		name := r.Phase
		if r.Hardest {
			name += "\nhardest"
		}
		row := []string{name, r.Length, r.Peak, r.PeakBand, r.Steady, r.Drift, strings.Join(r.When, "\n"), r.Wind, r.Sea}
		for i := range row {
			row[i] = strings.ReplaceAll(row[i], " / ", "\n") // one unit below the other
		}
		rows = append(rows, row)
	}
	return p.table(x, y, blockWidth, columns, rows)
}

func (s Sheet) partRuns() []run {
	runs := []run{bold("Used most:")}
	parts := s.Weakest(3)
	for i, part := range parts {
		end := ";"
		if i == len(parts)-1 {
			end = "."
		}
		runs = append(runs, plain(part.Name), bold(part.Use), plain("of "+part.Capacity+end))
	}
	return append(runs, plain("Capacities are after the factors of the policy."))
}

// hoursGapMM is the space round the drawing of the hours.
const hoursGapMM = 1.0

// hours sets the timeline.
func (s Sheet) hours(p *press, x, y float64, f fit) float64 {
	h := p.heading(x, y, blockWidth, "HOURS, UTC")
	if f.Hours > 0 {
		if !p.dry {
			drawing.Print(p.pdf, figure.Hours(s.Subject, figure.Size{Width: blockWidth, Height: f.Hours}), x, y+h+0.5)
		}
		h += f.Hours + hoursGapMM
	}
	if len(s.Hours) == 0 {
		return h + p.write(x, y+h, blockWidth, plain(s.NotComputed("Hours")))
	}
	columns := []column{{"Act", 0.08, true}, {"From", 0.09, false}, {"By", 0.095, true}, {"Light", 0.065, false}, {"What", 0.67, false}}
	var rows [][]string
	for _, r := range s.Hours {
		rows = append(rows, []string{r.Action, r.From, r.Until, r.Light, r.Said()})
	}
	return h + p.table(x, y+h, blockWidth, columns, rows)
}

// Said is what is to be done, and how that stands unless it is in time.
func (h Hour) Said() string {
	if !h.Late() {
		return h.Text
	}
	return h.Text + " " + strings.ToUpper(h.Verdict) + "."
}

// Late tells that it is not in time, or not known to be.
func (h Hour) Late() bool { return h.hour.Verdict != "in_time" }

// unsaid are the limits that stand nowhere else on the page.
func (s Sheet) unsaid() []string { return slices.DeleteFunc(slices.Clone(s.Warnings), s.IsSaid) }

// IsSaid tells of a limit that the hours name already.
func (s Sheet) IsSaid(limit string) bool {
	return slices.ContainsFunc(s.Hours, func(h Hour) bool { return h.Text == limit })
}

// list sets points below a heading, one after the other; nothing without points.
func (s Sheet) list(p *press, x, y float64, heading string, lines []string) float64 {
	if len(lines) == 0 {
		return 0
	}
	h := p.heading(x, y, blockWidth, heading)
	var runs []run
	for _, text := range lines {
		runs = append(runs, plain("•\u00a0"+text))
	}
	return h + p.write(x, y+h, blockWidth, runs...)
}
