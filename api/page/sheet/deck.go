package sheet

import (
	"strconv"
	"strings"

	"rideout/service/planner"
)

// second sets the work: steps, crew, safety message, cautions. It gives the height it takes, foot and the
// heading of the log included; the log itself follows.
func (s Sheet) second(p *press, x, y float64, f fit) float64 {
	p.size = f.Second
	h := s.head(p, x, y)
	h += p.heading(x, y+h, blockWidth, "WORK ON DECK")
	h += s.steps(p, x, y+h, f)
	h += s.band(p, x, y+h)
	logHead := 0.0
	if p.dry {
		logHead = p.heading(x, y+h, blockWidth, "WATCH LOG") + 2*p.leading() + footMM
	}
	return h + logHead
}

// block is something that is set whole into a column.
type block struct {
	runs   []run
	indent float64
	before float64 // space above
}

// steps sets the work on deck in two columns, the left one no shorter.
func (s Sheet) steps(p *press, x, y float64, f fit) float64 {
	const gap = 5.0
	if len(s.Steps) == 0 {
		return p.write(x, y, blockWidth, plain(s.NotComputed("Steps")))
	}
	width := (blockWidth - gap) / 2
	var blocks []block
	for _, stage := range s.Steps {
		blocks = append(blocks, block{runs: []run{bold(strings.ToUpper(stage.Name))}, before: 0.8})
		for _, step := range stage.Steps {
			blocks = append(blocks, stepBlock(step, f))
		}
	}
	measure := &press{pdf: p.pdf, size: p.size, dry: true}
	heights, total := make([]float64, len(blocks)), 0.0
	for i, b := range blocks {
		heights[i] = b.before + measure.write(0, 0, width-b.indent, b.runs...)
		total += heights[i]
	}
	left, right := 0.0, 0.0
	for i, b := range blocks {
		at, column := x, &left
		heads := b.indent == 0 && i+1 < len(blocks) && left+heights[i]+heights[i+1] > total/2+heights[i+1] // not alone at the foot
		if right > 0 || left >= total/2 || heads {
			at, column = x+width+gap, &right
		}
		p.write(at+b.indent, y+*column+b.before, width-b.indent, b.runs...)
		*column += heights[i]
	}
	return max(left, right)
}

func stepBlock(step planner.Instruction, f fit) block {
	runs := []run{bold(strconv.Itoa(step.Number) + " " + step.Who + ":"), plain(step.Do)}
	if f.WithHazard && step.Hazard != "" {
		runs = append(runs, bold("Danger:"), plain(ended(step.Hazard)))
	}
	if f.WithWhy && step.Why != "" {
		runs = append(runs, plain("Why: "+ended(step.Why)))
	}
	return block{runs: runs, indent: 2, before: 0.5}
}

func ended(text string) string { return strings.TrimSuffix(text, ".") + "." }

// band sets crew, safety message and cautions side by side.
func (s Sheet) band(p *press, x, y float64) float64 {
	const gap = 4.0
	width := (blockWidth - 2*gap) / 3
	most := s.crew(p, x, y, width)
	most = max(most, s.messages(p, x+width+gap, y, width))
	return max(most, s.cautions(p, x+2*(width+gap), y, width)) + 0.5
}

func (s Sheet) crew(p *press, x, y, width float64) float64 {
	h := p.heading(x, y, width, "CREW AND HAND SIGNALS")
	if s.Crew == nil {
		return h + p.write(x, y+h, width, plain(s.NotComputed("Crew")))
	}
	for _, r := range s.Crew.Roles {
		who := r.Who
		if who == "" {
			who = "__________"
		}
		h += p.write(x, y+h, width, bold(words(r.Role)+", "+who+":"), plain(r.Does))
	}
	if s.Crew.ShortOf != "" {
		h += p.write(x, y+h, width, bold(s.Crew.ShortOf))
	}
	h += 0.8
	for _, signal := range s.Crew.Signals {
		h += p.write(x, y+h, width, bold(signal.Meaning+":"), plain(signal.Sign))
	}
	if s.Crew.Hauling != nil {
		h += 0.8 + p.write(x, y+h+0.8, width, plain(s.Crew.Hauling.Text))
	}
	return h
}

func (s Sheet) messages(p *press, x, y, width float64) float64 {
	h := p.heading(x, y, width, "SAFETY MESSAGE TO READ OUT")
	if s.Crew == nil {
		return h + p.write(x, y+h, width, plain(s.NotComputed("Safety message")))
	}
	height := p.write(x+1.5, y+h+0.8, width-3, plain(s.Crew.Securite)) + 1.6
	p.box(x, y+h, width, height, 0.4)
	h += height + 0.6
	h += p.write(x, y+h, width, plain(s.Crew.CallInTime))
	h += p.heading(x, y+h, width, "LIGHTS, SHAPES, SOUNDS")
	for _, sign := range s.Crew.Shown {
		h += p.write(x, y+h, width, plain(sign.What+" ("+sign.Rule+"): "+sign.Note))
	}
	return h
}

func (s Sheet) cautions(p *press, x, y, width float64) float64 {
	h := p.heading(x, y, width, "CAUTIONS")
	for _, text := range s.Cautions[1:] { // the first stands at the head
		h += p.write(x, y+h, width, plain(text)) + 0.6
	}
	return h
}

// log sets the table to fill in.
func (s Sheet) log(p *press, x, y float64, f fit) {
	p.size = f.Second
	h := p.heading(x, y, blockWidth, "WATCH LOG")
	columns := []column{
		{"UTC", 0.07, false},
		{"Wind, sea", 0.13, false},
		{"Rode out", 0.09, false},
		{"Nip, chafe", 0.13, false},
		{"Heading", 0.08, false},
		{"Position", 0.19, false},
		{"Drift", 0.07, false},
		{"Load, canopy", 0.15, false},
		{"By", 0.09, false},
	}
	h += p.table(x, y+h, blockWidth, columns, nil)
	top, at := y+h-0.5, x
	for i := range f.LogRows {
		p.rule(x, top+logRowMM*float64(i+1), blockWidth, 0.15)
	}
	p.pdf.SetLineWidth(0.15)
	for _, c := range columns[:len(columns)-1] {
		at += c.width * blockWidth
		p.pdf.Line(at-0.8, top-p.leading(), at-0.8, top+logRowMM*float64(f.LogRows))
	}
}
