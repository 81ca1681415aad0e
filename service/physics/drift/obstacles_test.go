package drift_test

import "rideout/service/physics/geo"

// shore is an obstacle of straight pieces, all of line 0.
type shore []geo.XY

func (s shore) Crossing(a, b geo.XY) (line int, at float64, ok bool) {
	first := 2.0
	for i := 1; i < len(s); i++ {
		if share, meets := crossing(a, b, s[i-1], s[i]); meets && share < first {
			first = share
		}
	}
	return 0, first, first <= 1
}

// shores are several of them, numbered.
type shores []shore

func (s shores) Crossing(a, b geo.XY) (line int, at float64, ok bool) {
	first := 2.0
	for i, one := range s {
		if _, share, meets := one.Crossing(a, b); meets && share < first {
			line, first = i, share
		}
	}
	return line, first, first <= 1
}

// crossing gives the share of the way from a to b at which it meets the piece from c to d.
func crossing(a, b, c, d geo.XY) (float64, bool) {
	abE, abN, cdE, cdN := b.EastM-a.EastM, b.NorthM-a.NorthM, d.EastM-c.EastM, d.NorthM-c.NorthM
	acE, acN := c.EastM-a.EastM, c.NorthM-a.NorthM
	cross := abE*cdN - abN*cdE
	if cross == 0 {
		return 0, false
	}
	share, along := (acE*cdN-acN*cdE)/cross, (acE*abN-acN*abE)/cross
	return share, share >= 0 && share <= 1 && along >= 0 && along <= 1
}

// eastOf is a shore that runs north and south, so far east of the start.
func eastOf(metres float64) shore {
	return shore{{EastM: metres, NorthM: -1e6}, {EastM: metres, NorthM: 1e6}}
}
