package sheet

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"rideout/service/planner"
)

// second sets the work: steps, crew, safety message, cautions. It gives the height it takes, foot and the
// heading of the log included; the log itself follows.
func (s Sheet) second(p *press, x, y float64, f fit) float64 {
	p.size = f.Second
	h := s.headAgain(p, x, y)
	h += s.work(p, x, y+h, f, s.onSecond(f))
	h += s.band(p, x, y+h, slices.Concat(s.apart(f)[f.OnFirst:]...), f)
	logHead := 0.0
	if p.dry {
		logHead = p.heading(x, y+h, blockWidth, "WATCH LOG") + 2*p.leading() + footMM
	}
	return h + logHead
}

// onFirst are the stages of work that stand on the first page: what is prepared, where the second has no room for it.
func (s Sheet) onFirst(f fit) []Stage {
	if f.PrepareFirst && len(s.Steps) > 1 {
		return s.Steps[:1]
	}
	return nil
}

func (s Sheet) onSecond(f fit) []Stage { return s.Steps[len(s.onFirst(f)):] }

// work sets stages of the work on deck below their heading.
func (s Sheet) work(p *press, x, y float64, f fit, stages []Stage) float64 {
	h := p.heading(x, y, blockWidth, "WORK ON DECK")
	if len(s.Steps) == 0 {
		return h + p.write(x, y+h, blockWidth, plain(s.NotComputed("Steps")))
	}
	if f.LeftOut() != "" {
		h += p.write(x, y+h, blockWidth, bold(f.LeftOut()))
	}
	return h + s.steps(p, x, y+h, f, stages)
}

// steps sets stages in two columns.
func (s Sheet) steps(p *press, x, y float64, f fit, stages []Stage) float64 {
	var blocks []block
	for _, stage := range stages {
		blocks = append(blocks, block{runs: []run{bold(strings.ToUpper(stage.Name))}, before: 0.8, heads: true})
		for _, step := range stage.Steps {
			blocks = append(blocks, stepBlock(step, f))
		}
	}
	return p.columns(x, y, blockWidth, 2, blocks)
}

func stepBlock(step planner.Instruction, f fit) block {
	runs := []run{bold(strconv.Itoa(step.Number) + " " + step.Who + ":"), plain(step.Do)}
	if f.Hazards.of(step.Stage) && step.Hazard != "" {
		runs = append(runs, bold("Danger:"), plain(ended(step.Hazard)))
	}
	if f.Why && step.Why != "" {
		runs = append(runs, plain("Why: "+ended(step.Why)))
	}
	return block{runs: runs, before: 0.3}
}

// ended closes a sentence, once.
func ended(text string) string { return strings.TrimSuffix(text, ".") + "." }

// apart is what is no step, in the order in which it moves to the first page when the second has no room; cautions stay.
func (s Sheet) apart(f fit) [][]block {
	return [][]block{s.messages(f), s.crew(f), s.cautions(f)}
}

// band sets what is no step: long texts across the page, many short ones in three columns.
func (s Sheet) band(p *press, x, y float64, blocks []block, f fit) float64 {
	if len(blocks) == 0 {
		return 0
	}
	n := 1
	if f.Signs || f.Notes {
		n = 3
	}
	return p.columns(x, y, blockWidth, n, blocks) + 0.5
}

func title(text string) block {
	return block{runs: []run{bold(text)}, before: 0.9, heads: true, ruled: true}
}

func (s Sheet) crew(f fit) []block {
	blocks := []block{title("CREW AND HAND SIGNALS")}
	if s.Crew == nil {
		return append(blocks, block{runs: []run{plain(s.NotComputed("Crew"))}})
	}
	var tasks, signals []run
	for _, r := range s.Crew.Roles {
		who := cmp.Or(r.Who, "________")
		tasks = append(tasks, bold(words(r.Role)+":"), plain(who+";"))
		if f.Notes {
			blocks = append(blocks, block{runs: []run{bold(words(r.Role) + ", " + who + ":"), plain(r.Does)}})
		}
	}
	if !f.Notes { // in one paragraph, without what each does
		blocks = append(blocks, block{runs: tasks})
	}
	if s.Crew.ShortOf != "" {
		blocks = append(blocks, block{runs: []run{bold(s.Crew.ShortOf)}})
	}
	for _, signal := range s.Crew.Signals {
		signals = append(signals, bold(signal.Meaning+":"), plain(signal.Sign+";"))
	}
	blocks = append(blocks, block{runs: signals, before: 0.5})
	if s.Crew.Hauling != nil && f.Signs {
		blocks = append(blocks, block{runs: []run{plain(s.Crew.Hauling.Text)}, before: 0.8})
	}
	return blocks
}

func (s Sheet) messages(f fit) []block {
	blocks := []block{title("SAFETY MESSAGE TO READ OUT")}
	if s.Crew == nil {
		return append(blocks, block{runs: []run{plain(s.NotComputed("Safety message"))}})
	}
	blocks = append(blocks, block{runs: []run{plain(s.Crew.Securite)}, before: 0.5, boxed: true})
	if !f.Signs {
		return blocks
	}
	blocks = append(blocks, block{runs: []run{plain(s.Crew.CallInTime)}, before: 0.5}, title("LIGHTS, SHAPES, SOUNDS"), block{runs: []run{plain("Which apply is the master's decision.")}})
	for _, sign := range s.Crew.Shown {
		runs := []run{plain("•\u00a0" + sign.What + " (" + sign.Rule + ").")}
		if f.Notes {
			runs = append(runs, plain(sign.Note))
		}
		blocks = append(blocks, block{runs: runs})
	}
	return blocks
}

func (s Sheet) cautions(f fit) []block {
	blocks := []block{title("CAUTIONS")}
	var runs []run
	for _, text := range s.Cautions[1:] { // the first stands at the head
		runs = append(runs, plain("•\u00a0"+text))
		if f.Signs || f.Notes {
			blocks = append(blocks, block{runs: []run{plain(text)}, before: 0.4})
		}
	}
	if len(blocks) == 1 {
		blocks = append(blocks, block{runs: runs})
	}
	return blocks
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
