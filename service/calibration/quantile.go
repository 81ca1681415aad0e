package calibration

import "slices"

// quantiles gives the values below which 5, 50 and 95 % of an even number of draws lie.
func quantiles(draws []float64) (low, mid, high float64) {
	x := slices.Clone(draws)
	n := len(x)
	middle := n / 2
	above := rank(x, middle) // which leaves the lesser half before it
	mid = (slices.Max(x[:middle]) + above) / 2
	low = rank(x[:middle], n/20)
	high = rank(x[middle:], n-1-n/20-middle)
	return low, mid, high
}

// rank returns what would stand at index k if x were sorted, and moves what is less before it and
// what is greater behind (Hoare 1961, Communications of the ACM 4, 321). A sort takes five times as
// long, and there are three for each factor of a fleet.
func rank(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot := x[(low+high)/2]
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		if k <= j {
			high = j
		} else if k >= i {
			low = i
		} else {
			break
		}
	}
	return x[k]
}
