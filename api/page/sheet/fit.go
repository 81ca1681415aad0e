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
	blockWidth = 190.0
	leastMM    = 10.0
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
	logRowMM    = 6.0
	leastLog    = 5
	mostLog     = 24
	leastReadPt = 8.0 // from which on type is easily read in bad light
)

// firstTries are the settings of the first page, the best first.
func firstTries() []fit {
	var tries []fit
	for _, t := range []fit{
		{Rig: 100, Hours: 60},
		{Rig: 90, Hours: 54},
		{Rig: 84, Hours: 48},
		{Rig: 96},
		{Rig: 88},
		{Rig: 80},
		{Rig: 72},
	} {
		for _, size := range []float64{9, 8.5, leastReadPt} {
			t.First = size
			tries = append(tries, t)
		}
	}
	for size := 7.5; size >= 5.5; size -= 0.5 { // nothing that is known is left out
		tries = append(tries, fit{First: size, Rig: 66})
	}
	return tries
}

// secondTries are the settings of the second page, the best first: reasons and notes go before the type gets small,
// dangers last. What is left out is on the screen, and the page says so.
func secondTries() []fit {
	var tries []fit
	for _, t := range []struct {
		fit
		from, to float64
	}{
		{fit{Why: true, Notes: true, Signs: true, Hazards: all}, 9, leastReadPt},
		{fit{Notes: true, Signs: true, Hazards: all}, 9, leastReadPt},
		{fit{Signs: true, Hazards: all}, 9, 7.5},
		{fit{Signs: true, Hazards: handling}, 8.5, 7.5},
		{fit{Signs: true, Hazards: none}, 8, 7.5},
		{fit{Hazards: handling}, 8, 7},
		{fit{Hazards: none}, 7.5, 5.5},
	} {
		for t.Second = t.from; t.Second >= t.to; t.Second -= 0.25 {
			tries = append(tries, t.fit)
		}
	}
	return tries
}

// fitted finds how the sheet fits two pages.
func fitted(s Sheet, paper Paper) fit {
	p := newPress(paper)
	p.dry = true
	blockHeight := paper.block()
	var found fit
	for _, try := range firstTries() {
		found = try
		if s.first(p, 0, 0, try) <= blockHeight {
			break
		}
	}
	for _, try := range secondTries() {
		found.Second, found.Why, found.Notes, found.Signs, found.Hazards = try.Second, try.Why, try.Notes, try.Signs, try.Hazards
		left := blockHeight - s.second(p, 0, 0, found)
		if rows := int(left / logRowMM); rows >= leastLog {
			found.LogRows = min(rows, mostLog)
			break
		}
		found.LogRows = max(0, int(left/logRowMM))
	}
	return found
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
	return class
}

// style sets the printed page's type; browsers break lines a little differently, so it is set a little smaller.
func (f fit) style() string {
	return fmt.Sprintf("@media print { .page { font-size: %.2fpt; } .page + .page { font-size: %.2fpt; } }\n", 0.98*f.First, 0.98*f.Second)
}
