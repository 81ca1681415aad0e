package sheet

import "fmt"

// Paper is a size of paper in mm.
type Paper struct{ Width, Height float64 }

// The papers.
var (
	A4     = Paper{210, 297}
	Letter = Paper{215.9, 279.4}
)

// blockWidth is how wide the text is on either paper; least is the least margin. Both in mm.
const (
	blockWidth = 194.0
	leastMM    = 8.0
)

// left is the margin to the left, which centres the text.
func (p Paper) left() float64 { return (p.Width - blockWidth) / 2 }

// block is how high the text may be.
func (p Paper) block() float64 { return p.Height - 2*leastMM }

// fit is how the sheet is set so that it takes two pages: the sizes of type in points, and what is left to the
// screen. The sizes are the largest that fit.
type fit struct {
	First, Second     float64 // size on each page
	Rig, Hours        float64 // heights of the drawings, mm; 0: left out
	OnFirst           int     // of what is no step, how many parts stand on the first page: the safety message, the crew
	PrepareFirst      bool    // the first stage of the work stands on the first page
	Why, Notes, Signs bool    // reasons of the steps; what a task is and when a light applies; lights, hauling, whom to call
	Hazards           hazards
	LogRows           int
}

// hazards is of which steps the dangers are printed.
type hazards string

const (
	all      hazards = "all"
	handling hazards = "handling" // while the gear goes over and comes back
	none     hazards = "none"
)

// of tells whether the dangers of a stage's steps are printed.
func (h hazards) of(stage string) bool {
	return h == all || h == handling && (stage == "deploy" || stage == "retrieve")
}

const (
	logRowMM = 6.0
	leastLog = 4
	mostLog  = 24
	// leastPt is the smallest type on a sheet of A4: a tired reader, bad light, no glasses. Only where a plan is longer than any of
	// the demo's, or the paper shorter, does it give way, before a step does.
	leastPt    = 8.0
	largestPt  = 9.0
	smallestPt = 5.5
)

// drawings are the heights of rig and hours, the best first.
var drawings = []struct{ rig, hours float64 }{{100, 60}, {90, 54}, {84, 48}, {96, 0}, {88, 0}, {80, 0}, {72, 0}, {64, 0}, {58, 0}, {52, 0}, {48, 0}, {44, 0}, {40, 0}}

// contents are what is printed besides steps and figures, the most first: reasons and notes go before dangers. What is left
// out is on the screen, and the page says so.
func contents() []fit {
	return []fit{
		{Why: true, Notes: true, Signs: true, Hazards: all},
		{Notes: true, Signs: true, Hazards: all},
		{Signs: true, Hazards: all},
		{Hazards: all},
		{Signs: true, Hazards: handling},
		{Hazards: handling},
		{Signs: true, Hazards: none},
		{Hazards: none},
	}
}

// fitted finds how the sheet fits two pages: as much as goes in type that is easily read, then that type as large as it goes.
func fitted(s Sheet, paper Paper) fit {
	p := newPress(paper)
	p.dry = true
	for _, try := range contents() {
		for size := largestPt; size >= leastPt; size -= 0.25 {
			if found, fits := s.fits(p, paper, try, size, leastPt); fits {
				return found
			}
		}
	}
	var found fit
	for size := leastPt; size >= smallestPt; size -= 0.25 { // nothing that is known is left out
		var fits bool
		if found, fits = s.fits(p, paper, fit{Hazards: none}, size, size); fits {
			break
		}
	}
	return found
}

// fits sets the second page in a size, and looks for the largest drawings and type on the first. Safety message, crew and
// what is prepared stand on the page that has room for them.
func (s Sheet) fits(p *press, paper Paper, try fit, size, least float64) (fit, bool) {
	try.Second, try.First = size, least
	emptiest := places[len(places)-1] // where that does not fit the second page, nothing does
	if try = s.placed(p, paper, try, emptiest); try.LogRows < leastLog {
		return try, false
	}
	for _, place := range places {
		if try = s.placed(p, paper, try, place); try.LogRows < leastLog {
			continue
		}
		if found, fits := s.firstFits(p, paper, try, least); fits {
			return found, true
		}
	}
	return s.firstFits(p, paper, try, least)
}

// placed puts things on one page or the other, and counts the rows that leaves to the log.
func (s Sheet) placed(p *press, paper Paper, try, place fit) fit {
	try.OnFirst, try.PrepareFirst = place.OnFirst, place.PrepareFirst
	rows := int((paper.block() - s.second(p, 0, 0, try)) / logRowMM)
	try.LogRows = max(0, min(rows, mostLog))
	return try
}

// places are what moves to the first page, the least first.
var places = []fit{{}, {OnFirst: 1}, {OnFirst: 2}, {PrepareFirst: true}, {OnFirst: 1, PrepareFirst: true}, {OnFirst: 2, PrepareFirst: true}}

// firstFits looks for the largest drawings, and with them the largest type, that the first page takes.
func (s Sheet) firstFits(p *press, paper Paper, try fit, least float64) (fit, bool) {
	text := map[float64]float64{} // height without drawings, by size of type
	for size := largestPt; size >= least; size -= 0.5 {
		try.First, try.Rig, try.Hours = size, 0, 0
		text[size] = s.first(p, 0, 0, try)
	}
	for _, d := range drawings {
		for try.First = largestPt; try.First >= least; try.First -= 0.5 {
			try.Rig, try.Hours = d.rig, d.hours
			if text[try.First]+try.drawn() <= paper.block() {
				return try, true
			}
		}
	}
	try.First = least
	return try, false
}

// drawn is the height the drawings of the first page take.
func (f fit) drawn() float64 {
	if f.Hours > 0 {
		return f.Rig + f.Hours + hoursGapMM
	}
	return f.Rig
}

// Class tells the printed page what is left to the screen.
func (f fit) Class() string {
	class := "sheet hazards-" + string(f.Hazards)
	if !f.Why {
		class += " without-why"
	}
	if !f.Signs {
		class += " without-signs"
	}
	if !f.Notes {
		class += " without-notes"
	}
	if !f.Notes && !f.Signs {
		class += " in-lines"
	}
	return class
}

// style sets the printed page's type; browsers break lines a little differently, so it is set a little smaller.
func (f fit) style() string {
	return fmt.Sprintf("@media print { .page { font-size: %.2fpt; } .page + .page { font-size: %.2fpt; } }\n", 0.98*f.First, 0.98*f.Second)
}
