package coast

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Data is a coast in the form cmd/coastline writes. The zero value is no coast at all. It is only ever read, so it is
// safe to share.
//
// The form: lines of text as in Header, an empty line, an index, and the cells. Cells divide the globe into equal
// degrees, rows from the north pole, columns eastward from Greenwich. The index has four bytes for each, lowest
// first: twice where the cell's bytes begin, plus one if its south-west corner is land. A cell without
// shore has no bytes. A cell's bytes are described at pieces.
type Data struct {
	header Header
	index  string
	packed string
}

// Header is what the file says of itself.
type Header struct {
	Source        string // data set, version, file
	SHA256        string // of that file, in hex
	Columns, Rows int    // cells round the globe, and from pole to pole
	Pieces        int    // runs of shore, each within a cell
	Points        int    // of all pieces, a closed one's first and last both counted
	Bytes         int    // of all cells
}

// errForm says that bytes are not in the form of Data.
var errForm = errors.New("not a coast in the form of cmd/coastline")

// Open reads the head of a coast; cells are read as they are needed. Check reads them all.
func Open(data string) (Data, error) {
	head, rest, found := strings.Cut(data, "\n\n")
	if !found {
		return Data{}, errForm
	}
	h, err := header(head)
	if err != nil {
		return Data{}, err
	}
	index := 4 * h.Columns * h.Rows
	if h.Rows < 1 || h.Rows > 180 || h.Columns != 2*h.Rows || h.Bytes < 0 || len(rest) != index+h.Bytes {
		return Data{}, errForm
	}
	return Data{header: h, index: rest[:index], packed: rest[index:]}, nil
}

func header(head string) (Header, error) {
	lines := strings.Split(head, "\n")
	if lines[0] != "coast 1" {
		return Header{}, errForm
	}
	var h Header
	numbers := map[string]*int{"columns": &h.Columns, "rows": &h.Rows, "pieces": &h.Pieces, "points": &h.Points, "bytes": &h.Bytes}
	for _, line := range lines[1:] {
		name, value, _ := strings.Cut(line, " ")
		switch name {
		case "source":
			h.Source = value
		case "sha256":
			h.SHA256 = value
		}
		if number := numbers[name]; number != nil {
			n, err := strconv.Atoi(value)
			if err != nil {
				return Header{}, fmt.Errorf("%w: %s: %w", errForm, name, err)
			}
			*number = n
		}
	}
	return h, nil
}

// Header gives what the file says of itself.
func (d Data) Header() Header { return d.header }

// Check reads every cell and holds what is there against the header.
func (d Data) Check() error {
	count, points := 0, 0
	for row := range d.header.Rows {
		for column := range d.header.Columns {
			r := d.cell(row, column).pieces()
			for r.next() {
				count++
				points += len(r.points)
			}
			if r.err != nil {
				return fmt.Errorf("cell %d of row %d: %w", column, row, r.err)
			}
		}
	}
	if count != d.header.Pieces || points != d.header.Points {
		return fmt.Errorf("%w: %d pieces of %d points, and its head says %d of %d",
			errForm, count, points, d.header.Pieces, d.header.Points)
	}
	return nil
}

// cell is a cell of equal degrees, from its south-west corner.
type cell struct {
	southDeg, westDeg, sizeDeg float64 // west in [0, 360)
	cornerIsLand               bool
	packed                     string
}

// cell gives one of a row from the north pole and a column from Greenwich.
func (d Data) cell(row, column int) cell {
	size := 180 / float64(d.header.Rows)
	i := row*d.header.Columns + column
	entry := d.entry(i)
	begin, end := int(entry>>1), len(d.packed)
	if next := i + 1; next < d.header.Columns*d.header.Rows {
		end = int(d.entry(next) >> 1)
	}
	c := cell{southDeg: 90 - float64(row+1)*size, westDeg: float64(column) * size, sizeDeg: size, cornerIsLand: entry&1 == 1}
	if begin <= end && end <= len(d.packed) {
		c.packed = d.packed[begin:end]
	}
	return c
}

func (d Data) entry(i int) uint32 {
	b := d.index[4*i : 4*i+4]
	return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 | uint32(b[3])<<24
}
