package forecast

import (
	"fmt"
	"math"

	"rideout/service/physics/quantity"
)

// series is one parameter against time in SI, nil where the coverage has null.
type series []*float64

// at is the value at step i, nil where there is no such series.
func (s series) at(i int) *float64 {
	if s == nil {
		return nil
	}
	return s[i]
}

// readSeries reads the range of a chosen parameter. axes holds the length of every axis of the
// domain; all but t have one value.
func readSeries(c chosen, ranges node, axes map[string]int, p *problems) series {
	parameter := standardNames[c.rank]
	u, unitOK := unitOf(c.at, parameter.role, p)
	r, ok := ranges.member(c.key)
	if !ok {
		p.add(r.at, fmt.Sprintf("the %s has no values", parameter.role), "give a range of this name")
		return nil
	}
	if !checkNdArray(r, axes, p) || !unitOK {
		return nil
	}
	values, _ := r.member("values")
	return toSI(values, parameter, u, p)
}

// checkNdArray holds a range's form against the domain: an NdArray of numbers along t. Axes of one
// value may be named or left out, in any order; the flat values are the same.
func checkNdArray(r node, axes map[string]int, p *problems) bool {
	if _, link := r.text(); link {
		p.add(r.at, "the range is a link", "put the NdArray itself here; nothing is fetched")
		return false
	}
	before := len(p.list) + p.dropped
	kind, _ := r.member("type")
	if text, _ := kind.text(); text != "NdArray" {
		p.add(kind.at, "the range is not an NdArray", `send "type": "NdArray", not tiles`)
	}
	dataType, _ := r.member("dataType")
	if text, _ := dataType.text(); text != "float" && text != "integer" {
		p.add(dataType.at, "the data type is not numeric", `set "dataType": "float"`)
	}
	values, _ := r.member("values")
	if text, _ := dataType.text(); text == "integer" {
		checkWhole(values, p)
	}
	if axes["t"] == 0 { // reported with the axis
		return false
	}
	checkShape(r, axes, p)
	if n := len(values.items()); n != axes["t"] {
		p.add(values.at, fmt.Sprintf("%s for %s", counted(n, "value"), counted(axes["t"], "time")), "give one value, or null, for each time")
	}
	return len(p.list)+p.dropped == before
}

// checkWhole wants whole numbers or null, as the data type integer promises.
func checkWhole(values node, p *problems) {
	for _, item := range values.items() {
		if v, ok := item.number(); ok && v != math.Trunc(v) {
			p.add(item.at, "the value is not whole and the data type is integer", `set "dataType": "float"`)
			return
		}
	}
}

// checkShape wants shape and axisNames together, each size equal to the axis it names, t among
// them. Both may be left out where the coverage has a single time.
func checkShape(r node, axes map[string]int, p *problems) {
	shape, hasShape := r.member("shape")
	axisNames, hasNames := r.member("axisNames")
	if !hasShape && !hasNames && axes["t"] == 1 {
		return
	}
	sizes, names := shape.items(), axisNames.items()
	if len(sizes) == 0 || len(sizes) != len(names) {
		p.add(shape.at, fmt.Sprintf("shape has %s and axisNames %s", counted(len(sizes), "item"), counted(len(names), "item")),
			`give both with one item for each axis, such as "shape": [24], "axisNames": ["t"]`)
		return
	}
	seen := map[string]bool{}
	for i, name := range names {
		axis, _ := name.text()
		length, known := axes[axis]
		if !known || seen[axis] {
			p.add(name.at, fmt.Sprintf("%q is not an axis of the domain, or named twice", axis), "name each axis of the domain once")
			continue
		}
		seen[axis] = true
		if size, ok := sizes[i].number(); !ok || size != float64(length) {
			p.add(sizes[i].at, fmt.Sprintf("the size is not the length of axis %q", axis), fmt.Sprintf("send %d", length))
		}
	}
	if !seen["t"] && axes["t"] > 1 {
		p.add(axisNames.at, "the range does not run along t", `send "axisNames": ["t"]`)
	}
}

// toSI converts a range's values. Of the values that can't be used it reports the first and counts
// the others.
func toSI(values node, s standardName, u unit, p *problems) series {
	within := limits[s.role]
	out := make(series, 0, len(values.items()))
	firstBad, bad := "", 0
	for _, item := range values.items() {
		if item.isNull() {
			out = append(out, nil)
			continue
		}
		v, ok := item.number()
		v *= u.toSI
		if !ok || v < within.min || v > within.max {
			if bad++; bad == 1 {
				firstBad = item.at
			}
			continue
		}
		if within.of == angle {
			if s.reverse {
				v += math.Pi
			}
			v = quantity.Angle(v).Normalised().Radians()
		}
		out = append(out, &v)
	}
	if bad > 0 {
		message := fmt.Sprintf("the %s is not a number in its range", s.role)
		if bad > 1 {
			message += fmt.Sprintf(" (%d such values)", bad)
		}
		p.add(firstBad, message, fmt.Sprintf("send %.6g..%.6g in the unit given, and null for a missing value", within.min/u.toSI, within.max/u.toSI))
		return nil
	}
	return out
}
