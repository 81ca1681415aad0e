package main

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// blockSteps is how many steps share their widths. The coast packs to 4.55 MB of steps at 8, 4.57 MB at 16, 4.61 MB at 32.
const blockSteps = 16

// encode writes the form that package coast reads and describes (data.go, pieces.go there).
func encode(s shores, name, sha256Hex string) []byte {
	var index, packed []byte
	segments, points := 0, 0
	for _, c := range s.cells {
		entry := uint32(len(packed)) << 1
		if c.land {
			entry |= 1
		}
		index = binary.LittleEndian.AppendUint32(index, entry)
		packed = append(packed, c.pack()...)
		segments += len(c.pieces)
		for _, p := range c.pieces {
			points += len(p.points)
		}
	}
	head := fmt.Sprintf("coast 1\nsource GSHHG %s, %s\nsha256 %s\nlicence LGPL-3.0-or-later, see LICENSE.gshhg\n"+
		"columns %d\nrows %d\npieces %d\npoints %d\nbytes %d\n\n",
		s.version, name, sha256Hex, s.columns, s.rows, segments, points, len(packed))
	return append(append([]byte(head), index...), packed...)
}

func (c cell) pack() []byte {
	if len(c.pieces) == 0 {
		return nil
	}
	var w bitWriter
	w.number(len(c.pieces))
	for _, p := range c.pieces {
		w.piece(p)
	}
	return w.flush()
}

// bitWriter packs numbers, lowest bit first.
type bitWriter struct {
	out  []byte
	held uint64
	have uint
}

func (w *bitWriter) write(value, width uint) {
	w.held |= uint64(value) << w.have
	w.have += width
	for w.have >= 8 {
		w.out = append(w.out, byte(w.held))
		w.held >>= 8
		w.have -= 8
	}
}

func (w *bitWriter) flush() []byte {
	if w.have > 0 {
		w.out = append(w.out, byte(w.held))
	}
	return w.out
}

// number writes a count with its width before it.
func (w *bitWriter) number(n int) {
	width := uint(bits.Len(uint(n)))
	w.write(width, 5)
	w.write(uint(n), width)
}

func (w *bitWriter) piece(p piece) {
	first, last := p.points[0], p.points[len(p.points)-1]
	points := p.points
	closed := uint(0)
	if first == last {
		closed = 1
		points = points[:len(points)-1]
	}
	w.write(uint(p.level-1), 2)
	w.write(closed, 1)
	w.number(len(points) - 1)
	w.write(uint(first[0]), 16)
	w.write(uint(first[1]), 16)
	for i := 1; i < len(points); i += blockSteps {
		w.block(points[i-1 : min(i+blockSteps, len(points))])
	}
}

// block writes the steps between its points, all east at one width and all north at another.
func (w *bitWriter) block(points [][2]int) {
	var width [2]uint
	for i := 1; i < len(points); i++ {
		for axis := range width {
			width[axis] = max(width[axis], uint(bits.Len(zigzag(points[i][axis]-points[i-1][axis]))))
		}
	}
	w.write(width[0], 5)
	w.write(width[1], 5)
	for i := 1; i < len(points); i++ {
		for axis := range width {
			w.write(zigzag(points[i][axis]-points[i-1][axis]), width[axis])
		}
	}
}

// zigzag makes small numbers of either sign small: 0, -1, 1, -2 become 0, 1, 2, 3.
func zigzag(n int) uint {
	if n < 0 {
		return uint(-2*n - 1)
	}
	return uint(2 * n)
}
