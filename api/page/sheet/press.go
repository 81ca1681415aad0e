package sheet

import (
	"fmt"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"

	"rideout/api/page/drawing"
)

// press sets text on the pages of a PDF, in mm from the upper left corner. With dry set it only measures.
type press struct {
	pdf  *fpdf.Fpdf
	size float64 // of the type, points
	dry  bool

	widths map[run]float64 // mm at a size of 1 point: the sheet is measured many times
}

// newPress embeds the fonts: what is used of them goes into the file, so that every printer has them.
func newPress(paper Paper) *press {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: paper.Width, Ht: paper.Height}})
	pdf.SetCatalogSort(true) // the same sheet is the same bytes
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCellMargin(0)
	pdf.AddUTF8FontFromBytes(drawing.Family, "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes(drawing.Family, "B", liberationsansbold.TTF)
	return &press{pdf: pdf, widths: map[run]float64{}}
}

// run is a piece of a text in one weight.
type run struct {
	text string
	bold bool
}

func plain(text string) run { return run{text, false} }
func bold(text string) run  { return run{text, true} }

const mmPerPoint = 25.4 / 72

// leading is the distance of lines in mm.
func (p *press) leading() float64 { return 1.12 * p.size * mmPerPoint }

func (p *press) font(weight bool) {
	style := ""
	if weight {
		style = "B"
	}
	p.pdf.SetFont(drawing.Family, style, p.size)
}

// narrow is the width of letters over that of the font: nobody sees it, and it is worth half a point of type.
const narrow = 0.95

func (p *press) width(r run) float64 {
	w, known := p.widths[r]
	if !known {
		p.font(r.bold)
		w = narrow * p.pdf.GetStringWidth(r.text) / p.size
		p.widths[r] = w
	}
	return w * p.size
}

// text sets a line at a base line, its letters narrowed by horizontal scaling (ISO 32000-1, 9.3.4).
func (p *press) text(x, base float64, r run) {
	p.font(r.bold)
	p.pdf.RawWriteStr(fmt.Sprintf("%.0f Tz", 100*narrow))
	p.pdf.Text(x, base, r.text)
	p.pdf.RawWriteStr("100 Tz")
}

// word is a word and how far into its line it stands.
type word struct {
	run
	x float64
}

// isSpace tells where a line may be broken; a no-break space is none.
func isSpace(r rune) bool { return r == ' ' || r == '\t' }

// newLine stands for a line's end among words.
const newLine = "\x00"

// lines breaks runs into lines no wider than asked for, and where the text says so. A word wider than that is broken.
func (p *press) lines(width float64, runs ...run) [][]word {
	var all [][]word
	var line []word
	x := 0.0
	for _, r := range runs {
		space := p.width(run{" ", r.bold})
		for _, text := range strings.FieldsFunc(strings.ReplaceAll(r.text, "\n", " "+newLine+" "), isSpace) {
			if text == newLine {
				all, line, x = append(all, line), nil, 0
				continue
			}
			for text != "" {
				w := p.width(run{text, r.bold})
				if x > 0 && x+space+w > width {
					all, line, x = append(all, line), nil, 0
				}
				rest := ""
				if x == 0 {
					text, rest = p.broken(text, r.bold, width)
					w = p.width(run{text, r.bold})
				} else {
					x += space
				}
				line = append(line, word{run{text, r.bold}, x})
				x += w
				text = rest
			}
		}
	}
	if len(line) > 0 {
		all = append(all, line)
	}
	return all
}

// broken gives as much of a word as fits, and the rest.
func (p *press) broken(text string, weight bool, width float64) (fits, rest string) {
	letters := []rune(text)
	n := len(letters)
	for n > 1 && p.width(run{string(letters[:n]), weight}) > width {
		n--
	}
	return string(letters[:n]), string(letters[n:])
}

// write sets runs as a paragraph and gives the height it takes.
func (p *press) write(x, y, width float64, runs ...run) float64 {
	lines := p.lines(width, runs...)
	if !p.dry {
		p.pdf.SetTextColor(0, 0, 0)
		for i, line := range lines {
			base := y + float64(i)*p.leading() + 0.95*p.size*mmPerPoint
			for _, span := range joined(line) {
				p.text(x+span.x, base, span.run)
			}
		}
	}
	return float64(len(lines)) * p.leading()
}

// joined joins neighbouring words of one weight, so that the text can be read out of the file again.
func joined(line []word) []word {
	var spans []word
	for _, w := range line {
		if n := len(spans); n > 0 && spans[n-1].bold == w.bold {
			spans[n-1].text += " " + w.text
			continue
		}
		spans = append(spans, w)
	}
	return spans
}

// line sets one line without breaking it, from the left or up to the right.
func (p *press) line(x, y float64, toRight bool, r run) float64 {
	if !p.dry {
		p.pdf.SetTextColor(0, 0, 0)
		if toRight {
			x -= p.width(r)
		}
		p.text(x, y+0.95*p.size*mmPerPoint, r)
	}
	return p.leading()
}

// heading sets a heading with a rule below and gives the height it takes.
func (p *press) heading(x, y, width float64, text string) float64 {
	h := p.write(x, y+0.9, width, bold(text))
	p.rule(x, y+h+1.1, width, 0.3)
	return h + 1.8
}

func (p *press) rule(x, y, width, thick float64) {
	if p.dry {
		return
	}
	p.pdf.SetDrawColor(0, 0, 0)
	p.pdf.SetLineWidth(thick)
	p.pdf.Line(x, y, x+width, y)
}

// box draws a frame, filled black where it is meant to be.
func (p *press) box(x, y, width, height, thick float64) {
	if p.dry {
		return
	}
	p.pdf.SetDrawColor(0, 0, 0)
	p.pdf.SetLineWidth(thick)
	p.pdf.Rect(x, y, width, height, "D")
}

// column is one column of a table.
type column struct {
	head  string
	width float64 // share of the table's
	bold  bool
}

// table sets rows below heads and gives the height it takes.
func (p *press) table(x, y, width float64, columns []column, rows [][]string) float64 {
	const gap = 1.6
	set := func(y float64, cells func(i int) run) float64 {
		at, height := x, 0.0
		for i, c := range columns {
			height = max(height, p.write(at, y, c.width*width-gap, cells(i)))
			at += c.width * width
		}
		return height
	}
	h := set(y, func(i int) run { return bold(columns[i].head) }) + 0.4
	p.rule(x, y+h, width, 0.3)
	h += 0.5
	for _, row := range rows {
		h += set(y+h, func(i int) run { return run{row[i], columns[i].bold} }) + 0.3
		p.rule(x, y+h, width, 0.1)
		h += 0.4
	}
	return h
}
