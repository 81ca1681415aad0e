package sheet

// block is a paragraph that is set whole into a column.
type block struct {
	runs           []run
	indent, before float64 // mm, to the left and above
	heads          bool    // it stands with the block after it
	ruled, boxed   bool    // a rule below it, a frame round it
}

// Around the text of a boxed block, and below a ruled one, in mm.
const (
	boxedMM = 1.2
	ruledMM = 0.9
)

// columns sets blocks in order in columns of about one height, and gives the height.
func (p *press) columns(x, y, width float64, n int, blocks []block) float64 {
	const gap = 4.0
	each := (width - gap*float64(n-1)) / float64(n)
	measure := &press{pdf: p.pdf, size: p.size, dry: true, widths: p.widths}
	heights, total := make([]float64, len(blocks)), 0.0
	for i, b := range blocks {
		heights[i] = measure.block(0, 0, each, b)
		total += heights[i]
	}
	target := total / float64(n)
	places, fits := placed(heights, blocks, n, target)
	for !fits {
		target += 0.5
		places, fits = placed(heights, blocks, n, target)
	}
	used, most := make([]float64, n), 0.0
	for i, b := range blocks {
		at := places[i]
		if !p.dry {
			p.block(x+float64(at)*(each+gap), y+used[at], each, b)
		}
		used[at] += heights[i]
		most = max(most, used[at])
	}
	return most
}

// placed gives the column of each block when none is higher than the target, and whether they fit.
func placed(heights []float64, blocks []block, n int, target float64) (places []int, fits bool) {
	places = make([]int, len(blocks))
	at, used := 0, 0.0
	for i, h := range heights {
		need := h
		if blocks[i].heads && i+1 < len(heights) {
			need += heights[i+1]
		}
		if used+need > target && used > 0 {
			at, used = at+1, 0
		}
		if at == n || need > target+1e-9 {
			return places, false
		}
		places[i] = at
		used += h
	}
	return places, true
}

// block sets one block and gives the height it takes.
func (p *press) block(x, y, width float64, b block) float64 {
	inner, h := 0.0, b.before
	if b.boxed {
		inner = boxedMM
	}
	text := p.write(x+b.indent+inner, y+h+inner, width-b.indent-2*inner, b.runs...)
	if b.boxed {
		p.box(x, y+h, width, text+2*inner, 0.4)
	}
	h += text + 2*inner
	if b.ruled {
		p.rule(x, y+h+0.2, width, 0.3)
		h += ruledMM
	}
	return h
}
