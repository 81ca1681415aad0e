package forecast

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rideout/service/planner"
)

// place is what the domain says: when, where, how high, and the length of every axis.
type place struct {
	times    []time.Time
	position planner.Position
	height   *float64 // the z axis, in whatever its reference system measures
	axes     map[string]int
}

var axisNames = []string{"t", "x", "y", "z"}

// readDomain reads the domain of a PointSeries.
func readDomain(domain node, p *problems) place {
	kind, _ := domain.member("type")
	if text, _ := kind.text(); text != "Domain" {
		p.add(kind.at, "the domain's type is not Domain", `set "type": "Domain"`)
	}
	d := place{axes: map[string]int{}}
	axes, _ := domain.member("axes")
	for _, name := range axes.names() {
		axis, _ := axes.member(name)
		if !slices.Contains(axisNames, name) {
			p.add(axis.at, "a PointSeries has no such axis", "send the axes t, x, y and perhaps z")
			continue
		}
		checkAxis(axis, p)
		values, _ := axis.member("values")
		d.axes[name] = len(values.items())
	}
	if z, ok := axes.member("z"); ok {
		height := coordinate(z, -12000, 100000, "send the height as one number", p)
		d.height = &height
	}
	x, _ := axes.member("x")
	y, _ := axes.member("y")
	t, _ := axes.member("t")
	d.position.LongitudeDeg = coordinate(x, -180, 360, "send one longitude in degrees, east positive", p)
	d.position.LatitudeDeg = coordinate(y, -90, 90, "send one latitude in degrees, north positive", p)
	if d.position.LongitudeDeg > 180 { // grids of the whole world count 0..360
		d.position.LongitudeDeg -= 360
	}
	checkReferencing(domain, p)
	d.times = readTimes(t, p)
	return d
}

// checkAxis allows the two members an axis of listed values may have.
func checkAxis(axis node, p *problems) {
	for _, name := range axis.names() {
		if name != "values" && name != "bounds" {
			m, _ := axis.member(name)
			p.add(m.at, "the axis has a member that has no place here", `give the axis as {"values": [...]}`)
		}
	}
	if bounds, ok := axis.member("bounds"); ok {
		values, _ := axis.member("values")
		if len(bounds.items()) != 2*len(values.items()) || len(bounds.items()) == 0 {
			p.add(bounds.at, "the bounds are not twice as many as the values", "send two bounds a value, or none at all")
		}
	}
}

// coordinate reads the one value of an axis.
func coordinate(axis node, low, high float64, fix string, p *problems) float64 {
	values, _ := axis.member("values")
	items := values.items()
	if len(items) != 1 {
		p.add(values.at, "the axis has not exactly one value", fix)
		return 0
	}
	v, ok := items[0].number()
	if !ok || v < low || v > high {
		p.add(items[0].at, fmt.Sprintf("the coordinate is not a number in %g..%g", low, high), fix)
	}
	return v
}

// timeForms are the lexical forms of an instant the standard recommends, and the one without
// seconds. A day or a month is no instant.
var timeForms = []string{time.RFC3339Nano, "2006-01-02T15:04Z07:00"}

// readTimes reads the t axis, which must run forward. It gives none where any is wrong.
func readTimes(axis node, p *problems) []time.Time {
	values, _ := axis.member("values")
	var times []time.Time
	wrong := false
	for _, item := range values.items() {
		t, ok := instant(item)
		switch {
		case !ok:
			p.add(item.at, "the value is not a date and time", "send a time such as 2026-01-12T18:00:00Z")
			wrong = true
		case len(times) > 0 && !t.After(times[len(times)-1]):
			p.add(item.at, "the time is not after the one before it", "send the times in order, each once")
			wrong = true
		}
		times = append(times, t)
	}
	if len(times) == 0 {
		p.add(values.at, "the axis has no listed values", `send "t": {"values": ["2026-01-12T18:00:00Z", ...]}`)
	}
	if wrong {
		return nil
	}
	return times
}

func instant(n node) (time.Time, bool) {
	text, _ := n.text()
	for _, form := range timeForms {
		if t, err := time.Parse(form, text); err == nil {
			return t.UTC(), true
		}
	}
	return time.Time{}, false
}

// wgs84 are the ends of the identifiers of systems whose degrees are ours to within a metre.
var wgs84 = []string{"CRS84", "CRS84h", "4326", "4979"}

// gregorian are the names of the calendar: the standard's short one and the OGC's identifier.
var gregorian = []string{"Gregorian", "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian", "https://www.opengis.net/def/uom/ISO-8601/0/Gregorian"}

// checkReferencing wants x and y in geographic degrees of WGS 84 and t in the Gregorian calendar.
// A geographic system without an id is allowed by the standard and taken as WGS 84.
func checkReferencing(domain node, p *problems) {
	referencing, _ := domain.member("referencing")
	placed := map[string]bool{}
	for _, connection := range referencing.items() {
		system, _ := connection.member("system")
		coordinates, _ := connection.member("coordinates")
		if len(coordinates.items()) == 0 {
			p.add(coordinates.at, "the reference system has no coordinates", `name them, such as ["x", "y"]`)
		}
		here := map[string]bool{}
		for _, c := range coordinates.items() {
			checkText(c, p)
			name, _ := c.text()
			placed[name], here[name] = true, true
		}
		checkSystem(here, system, p)
	}
	if !placed["x"] || !placed["y"] {
		p.add(referencing.at, "no reference system is given for x and y",
			`give {"coordinates": ["x", "y"], "system": {"type": "GeographicCRS", "id": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}}`)
	}
}

// checkSystem holds a reference system against what its coordinates are to mean.
func checkSystem(coordinates map[string]bool, system node, p *problems) {
	kind, _ := system.member("type")
	text, ok := kind.text()
	switch {
	case !ok:
		p.add(kind.at, "the reference system has no type", `set "type", such as "GeographicCRS"`)
	case coordinates["x"] || coordinates["y"]:
		id, has := system.member("id")
		name, _ := id.text()
		end := name[strings.LastIndexAny(name, "/:")+1:]
		if text != "GeographicCRS" || has && !slices.Contains(wgs84, end) {
			p.add(system.at, "the position is not in degrees of WGS 84", "send longitude and latitude in CRS84 or EPSG:4326")
		}
	case coordinates["t"]:
		calendar, _ := system.member("calendar")
		name, _ := calendar.text()
		if text != "TemporalRS" || !slices.Contains(gregorian, name) {
			p.add(system.at, "the times are not in the Gregorian calendar", `send {"type": "TemporalRS", "calendar": "Gregorian"}`)
		}
	}
}
