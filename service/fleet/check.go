package fleet

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// clockSlack is how far clocks aboard and ashore may differ.
const clockSlack = 10 * time.Minute

// Years a time may lie in. Beyond them it is a slip.
const (
	firstYear = 1900
	lastYear  = 2200
)

// Date is a day as RFC 3339 writes it, 2028-02-29. The zero value is no day.
type Date string

// Time gives the day's begin in UTC; false for what is no day of the calendar.
func (d Date) Time() (time.Time, bool) {
	at, err := time.Parse(time.DateOnly, string(d))
	return at, err == nil
}

// checker gathers what is wrong.
type checker struct {
	now      time.Time
	problems []planner.Problem
}

func (c *checker) add(pointer, message, fix string) {
	c.problems = append(c.problems, planner.Problem{Pointer: pointer, Message: message, Fix: fix})
}

// happened checks the time of what has happened: it is given, and not to come.
func (c *checker) happened(pointer string, at time.Time) {
	switch {
	case at.Year() < firstYear || at.Year() > lastYear:
		c.add(pointer, fmt.Sprintf("must lie in the years %d to %d", firstYear, lastYear), "correct the year")
	case at.After(c.now.Add(clockSlack)):
		c.add(pointer, "lies in the future", "send the time at which it happened")
	}
}

// ordered checks that one time does not come before another.
func (c *checker) ordered(pointer string, begin, end time.Time) {
	if end.Before(begin) {
		c.add(pointer, "lies before the begin", "correct one of the two times")
	}
}

// date checks a day that may be absent; it is past or today anywhere on earth.
func (c *checker) date(pointer string, d Date) {
	if d == "" {
		return
	}
	at, ok := d.Time()
	switch {
	case !ok:
		c.add(pointer, fmt.Sprintf("%s is no day of the calendar", d), "send a day such as 2028-02-29")
	case at.Year() < firstYear:
		c.add(pointer, fmt.Sprintf("must lie in the years %d to %d", firstYear, lastYear), "correct the year")
	case at.After(c.now.Add(14 * time.Hour)): // the earliest zone
		c.add(pointer, "lies in the future", "send the day on which it happened")
	}
}

// refsOf lists the thing an optional id names.
func refsOf(kind Kind, pointer string, id *uuid.UUID) []Ref {
	if id == nil {
		return nil
	}
	return []Ref{{Pointer: pointer, Kind: kind, ID: *id}}
}

func gearRefs(ids []uuid.UUID) []Ref {
	refs := make([]Ref, len(ids))
	for i, id := range ids {
		refs[i] = Ref{Pointer: fmt.Sprintf("/gear_ids/%d", i), Kind: KindGear, ID: id}
	}
	return refs
}

func orNil(id *uuid.UUID) uuid.UUID {
	if id == nil {
		return uuid.Nil
	}
	return *id
}
