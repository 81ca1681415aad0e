package forecast

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	profile "rideout/service/physics/wind"
	"rideout/service/planner"
)

// Coverage is what a CoverageJSON document says: the forecast and where it holds.
type Coverage struct {
	Forecast planner.Forecast
	Position planner.Position
}

// DecodeCoverageJSON reads a CoverageJSON Coverage of domain type PointSeries: axes t, x, y and
// perhaps z, parameters known by their CF standard names, units by UCUM symbols. Everything it
// needs must stand in the document itself; nothing is fetched.
//
// The wind speed (or both its components) must be given for every time; any other value may be
// null or absent and stays nil. Where the wind sea and the swell are both given at a time they are
// the step's two partitions; else the total sea is its Hs and Tp. By the standard x is the
// longitude and y the latitude whatever the order of the reference system's own axes. The form has
// no time of issue: IssuedAt stays zero for the caller to fill.
//
// The error is an *Error with everything wrong. The members read are held at least as strictly as the
// OGC's JSON Schema holds them; that schema itself is kept to the tests, because it can't check one
// member against another (lengths, units, times) and its messages can't say what to send instead.
// Members no plan reads (descriptions, groups, parameters without a use) may be faulty.
//
// Source: OGC 21-069r2, CoverageJSON Community Standard 1.0; CF Standard Name Table; UCUM.
func DecodeCoverageJSON(doc []byte) (Coverage, []Note, error) {
	root, bad := readJSON(doc)
	if bad != nil {
		return Coverage{}, nil, &Error{Problems: []Problem{*bad}}
	}
	p := &problems{}
	if !isCoverage(root, p) {
		return Coverage{}, nil, p.err()
	}
	domain, _ := root.member("domain")
	where := readDomain(domain, p)
	all, notes := readParameters(root, where.axes, p)
	steps, periodsZero := stepsOf(where.times, all, p)
	if err := p.err(); err != nil {
		return Coverage{}, nil, err
	}
	source := "CoverageJSON PointSeries"
	if id, ok := root.member("id"); ok {
		source, _ = id.text()
	}
	notes = append(notes, coverageNotes(where, steps, periodsZero)...)
	return Coverage{planner.Forecast{Source: source, Steps: steps, Notes: forPlan(notes)}, where.position}, notes, nil
}

func coverageNotes(where place, steps []planner.Step, periodsZero int) []Note {
	var notes []Note
	if where.height != nil && *where.height != windHeightM {
		notes = append(notes, Note{NoteWindAsGiven, 0, fmt.Sprintf("the z axis says %g; the wind is taken as given, as if at %g m%s", *where.height, windHeightM, forceAt(*where.height))})
	}
	notes = append(notes, periodNotes(periodsZero)...)
	return append(notes, gapNotes(steps)...)
}

// forceAt says what the force of the wind would be if it was measured at a height in m over the water; nothing where the
// profile does not reach.
func forceAt(heightM float64) string {
	u, err := profile.At(1, heightM, meanS)
	if err != nil || heightM < lowestMeasuredM {
		return ""
	}
	return fmt.Sprintf("; was it measured %g m above the water, its force is %.2f times what is reckoned with", heightM, 1/(u*u))
}

// isCoverage checks what the document is. Of another kind of document no more is reported.
func isCoverage(root node, p *problems) bool {
	kind, _ := root.member("type")
	if text, _ := kind.text(); text != "Coverage" {
		p.add(kind.at, "the document is not a CoverageJSON Coverage", `send one object with "type": "Coverage"; of a collection send the one coverage`)
		return false
	}
	if id, ok := root.member("id"); ok {
		checkText(id, p)
	}
	domain, _ := root.member("domain")
	if _, ok := domain.value.(object); !ok {
		p.add(domain.at, "the domain is not an object", "put the domain itself here; nothing is fetched")
		return false
	}
	checkDomainType(root, p)
	checkDomainType(domain, p)
	return true
}

func checkDomainType(n node, p *problems) {
	if t, ok := n.member("domainType"); ok {
		if text, _ := t.text(); text != "PointSeries" {
			p.add(t.at, "the domain type is not PointSeries", "send the series of one point: axes t, x and y")
		}
	}
}

// readParameters reads every series a step has a place for.
func readParameters(root node, axes map[string]int, p *problems) (map[role]series, []Note) {
	parameters, _ := root.member("parameters")
	ranges, _ := root.member("ranges")
	byRole, unused := chooseParameters(parameters, p)
	if !given(byRole, wind) && !(given(byRole, windEast) && given(byRole, windNorth)) {
		p.add(parameters.at, "no parameter is the wind speed", "give a parameter of standard name wind_speed, or both eastward_wind and northward_wind")
	}
	var notes []Note
	if len(unused) > 0 {
		notes = append(notes, Note{NoteParameterUnused, len(unused), "not used: " + strings.Join(unused, ", ")})
	}
	all := map[role]series{}
	inOrder := slices.SortedFunc(maps.Values(byRole), func(a, b chosen) int { return strings.Compare(a.key, b.key) })
	for _, c := range inOrder {
		name := standardNames[c.rank]
		all[name.role] = readSeries(c, ranges, axes, p)
		if strings.HasSuffix(name.name, "_wave_period") {
			notes = append(notes, Note{NotePeriodKind, 0, name.name + " does not say which period it is; taken as the peak period"})
		}
	}
	return all, notes
}

func given(byRole map[role]chosen, r role) bool {
	_, ok := byRole[r]
	return ok
}
