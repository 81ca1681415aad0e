package calibration

import "math"

// envelope is a symmetric positive definite matrix of which each row of the lower triangle is kept
// from its first entry that is not zero. Cholesky's factor fills the same places.
type envelope struct {
	first []int
	rows  [][]float64 // row i from column first[i] to i
}

func newEnvelope(size int) envelope {
	e := envelope{first: make([]int, size), rows: make([][]float64, size)}
	for i := range e.first {
		e.first[i] = i
	}
	return e
}

func (e envelope) size() int { return len(e.first) }

// reach makes row i begin at column j at the latest.
func (e envelope) reach(i, j int) { e.first[i] = min(e.first[i], j) }

func (e envelope) allocate() {
	for i, j := range e.first {
		e.rows[i] = make([]float64, i-j+1)
	}
}

func (e envelope) clear() {
	for _, r := range e.rows {
		clear(r)
	}
}

// add adds to the entry of row i and column j <= i.
func (e envelope) add(i, j int, v float64) { e.rows[i][j-e.first[i]] += v }

// factor replaces the matrix by its Cholesky factor L.
func (e envelope) factor() {
	for i, row := range e.rows {
		for j := e.first[i]; j < i; j++ {
			row[j-e.first[i]] = (row[j-e.first[i]] - e.dot(i, j)) / e.diagonal(j)
		}
		row[i-e.first[i]] = math.Sqrt(row[i-e.first[i]] - e.dot(i, i))
	}
}

func (e envelope) diagonal(i int) float64 { return e.rows[i][i-e.first[i]] }

// dot multiplies rows i and j of L over the columns before j.
func (e envelope) dot(i, j int) float64 {
	from := max(e.first[i], e.first[j])
	if from >= j {
		return 0
	}
	a, b := e.rows[i][from-e.first[i]:j-e.first[i]], e.rows[j][from-e.first[j]:j-e.first[j]]
	sum := 0.0
	for k, v := range a {
		sum += v * b[k]
	}
	return sum
}

// forward solves L y = x in place.
func (e envelope) forward(x []float64) {
	for i, row := range e.rows {
		for k, v := range row[:len(row)-1] {
			x[i] -= v * x[e.first[i]+k]
		}
		x[i] /= e.diagonal(i)
	}
}

// backward solves L' y = x in place.
func (e envelope) backward(x []float64) {
	for i := len(x) - 1; i >= 0; i-- {
		x[i] /= e.diagonal(i)
		row := e.rows[i]
		for k, v := range row[:len(row)-1] {
			x[e.first[i]+k] -= v * x[i]
		}
	}
}
