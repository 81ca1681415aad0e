package coast

// unitsPerCell is how many steps of the grid go to a side of a cell.
const unitsPerCell = 65535

// grain is a point of a cell's grid, east and north of its south-west corner, 0 to 65535.
type grain struct{ east, north int32 }

// pieces reads the shores of a cell, one after another: call next until it is false, then see err.
//
// The bytes are a stream of bits, lowest first, of numbers of known widths. A count is its width in 5 bits, then
// itself. A cell is the count of its pieces and then each: its level less one in 2 bits; 1 if it is
// closed, which leaves out the last point; the count of its points less one; the first point in 16 and 16 bits; then
// blocks of up to 16 steps. A block is the width of its eastward and of its northward steps, 5 bits each, and the
// steps, east and north in turn, as 0, -1, 1, -2 for 0, 1, 2, 3.
type pieces struct {
	bits   bits
	left   int
	level  int     // 1 sea, 2 lake, 3 island in a lake, 4 pond on such an island
	points []grain // until the next call of next
	err    error
}

const stepsPerBlock = 16

func (c cell) pieces() pieces {
	p := pieces{bits: bits{data: c.packed}}
	if c.packed != "" {
		p.left = p.bits.count()
	}
	return p
}

// next reads a piece, and tells whether there was one. What is not in the form ends it with an error.
func (p *pieces) next() bool {
	if p.left == 0 || p.err != nil {
		return false
	}
	p.left--
	p.level = 1 + int(p.bits.read(2))
	closed := p.bits.read(1) == 1
	steps := p.bits.count()
	at := grain{int32(p.bits.read(16)), int32(p.bits.read(16))}
	p.points = append(p.points[:0], at)
	for done := 0; done < steps && p.err == nil; done += stepsPerBlock {
		at = p.block(at, min(stepsPerBlock, steps-done))
	}
	if closed {
		p.points = append(p.points, p.points[0])
	}
	if p.bits.short {
		p.err = errForm
	}
	return p.err == nil
}

// block reads steps from a point on, and gives the last point.
func (p *pieces) block(at grain, steps int) grain {
	east, north := uint(p.bits.read(5)), uint(p.bits.read(5))
	for range steps {
		at.east += step(p.bits.read(east))
		at.north += step(p.bits.read(north))
		if uint32(at.east) > unitsPerCell || uint32(at.north) > unitsPerCell || p.bits.short {
			p.err = errForm
			return at
		}
		p.points = append(p.points, at)
	}
	return at
}

func step(n uint32) int32 { return int32(n>>1) ^ -int32(n&1) }

// bits reads numbers from a stream; short tells that it ended too early, and what was read then is zero.
type bits struct {
	data  string
	held  uint64
	have  uint
	short bool
}

func (b *bits) read(width uint) uint32 {
	for b.have < width {
		if b.data == "" {
			b.short = true
			return 0
		}
		b.held |= uint64(b.data[0]) << b.have
		b.data = b.data[1:]
		b.have += 8
	}
	n := uint32(b.held & (1<<width - 1))
	b.held >>= width
	b.have -= width
	return n
}

func (b *bits) count() int { return int(b.read(uint(b.read(5)))) }
