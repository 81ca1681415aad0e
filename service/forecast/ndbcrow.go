package forecast

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rideout/service/physics/quantity"
)

// ndbcRow reads the fields of one row by column name.
type ndbcRow struct {
	fields  []string
	columns map[string]int
	at      string
	wrong   bool
	*problems
}

func (row *ndbcRow) refuse(column, message, fix string) {
	row.wrong = true
	row.add(row.at+"/"+column, message, fix)
}

// firstYear is before the Center's first buoy; it also splits the two-digit years.
const firstYear = 1970

// time reads the row's time, in UTC. Files of before 1999 write two digits of the year.
func (row *ndbcRow) time() time.Time {
	year := row.whole("YY", 0, 9999)
	switch {
	case year < firstYear%100:
		year += 2000
	case year < 100:
		year += 1900
	case year < firstYear:
		row.refuse("YY", fmt.Sprintf("there was no buoy in %d", year), "send the year in four digits")
	}
	month, day, hour, minute := row.whole("MM", 1, 12), row.whole("DD", 1, 31), row.whole("hh", 0, 23), 0
	if _, ok := row.columns["mm"]; ok {
		minute = row.whole("mm", 0, 59)
	}
	t := time.Date(year, time.Month(month), day, hour, minute, 0, 0, time.UTC)
	if !row.wrong && t.Day() != day {
		row.refuse("DD", "the month has no such day", "send a date of the calendar")
	}
	return t
}

// missing are the Center's marks for a value that wasn't measured, and the greatest value that was
// ever meant as one. MM is the mark of real-time files in any column.
var missing = map[string]struct{ mark, most float64 }{
	"WDIR": {999, 360}, "MWD": {999, 360},
	"WSPD": {99, 98.9}, "GST": {99, 98.9},
	"WVHT": {99, 50}, "DPD": {99, 98.9},
}

// value reads a measured value, nil where it's missing or the file has no such column.
func (row *ndbcRow) value(column string) *float64 {
	i, ok := row.columns[column]
	if !ok || row.fields[i] == "MM" {
		return nil
	}
	limit := missing[column]
	v, ok := decimal(row.fields[i])
	switch {
	case ok && v == limit.mark:
		return nil
	case !ok || v < 0 || v > limit.most:
		row.refuse(column, fmt.Sprintf("%q is no value of this column", row.fields[i]),
			fmt.Sprintf("send 0..%g, or MM or %g for a missing value", limit.most, limit.mark))
		return nil
	}
	return &v
}

func (row *ndbcRow) direction(column string) *quantity.Angle {
	deg := row.value(column)
	if deg == nil {
		return nil
	}
	a := quantity.Degrees(*deg).Normalised()
	return &a
}

func (row *ndbcRow) whole(column string, low, high int) int {
	text := row.fields[row.columns[column]]
	v, err := strconv.Atoi(text)
	if err != nil || v < low || v > high {
		row.refuse(column, fmt.Sprintf("%q is no value of this column", text), fmt.Sprintf("send %d..%d", low, high))
		return low
	}
	return v
}

// decimal reads a plain decimal number: no exponent, no NaN, no hexadecimal.
func decimal(text string) (float64, bool) {
	if strings.Trim(text, "-.0123456789") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil
}
