package sun_test

import (
	"fmt"
	"time"

	"rideout/service/physics/geo"
	"rideout/service/physics/sun"
)

// A vessel 130 miles south of Ireland, on 14 November 2026: by when must her gear be out to work in daylight?
func Example() {
	where, err := geo.At(49.2, -8.7)
	if err != nil {
		fmt.Println(err)
		return
	}
	midnight := sun.Instant(time.Date(2026, time.November, 14, 0, 0, 0, 0, time.UTC).Unix())
	day, err := sun.DayAt(where, midnight)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, e := range []struct {
		name  string
		event sun.Event
	}{{"civil dawn", day.CivilDawn}, {"sunrise", day.Rise}, {"sunset", day.Set}, {"civil dusk", day.CivilDusk}} {
		if at, ok := e.event.At(); ok {
			fmt.Printf("%s %s UTC\n", e.name, clock(at))
		}
	}
	fmt.Printf("noon %s UTC, sun %.1f degrees high\n", clock(day.Noon), day.NoonAltitude.Degrees())
	spans, err := sun.Spans(where, midnight+15*3600, midnight+24*3600)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range spans {
		fmt.Printf("%s to %s %s\n", clock(s.From), clock(s.To), s.Kind)
	}
	// Output:
	// civil dawn 07:08 UTC
	// sunrise 07:43 UTC
	// sunset 16:54 UTC
	// civil dusk 17:29 UTC
	// noon 12:19 UTC, sun 22.5 degrees high
	// 15:00 to 16:54 day
	// 16:54 to 17:29 civil_twilight
	// 17:29 to 00:00 dark
}

func clock(at sun.Instant) string { return time.Unix(int64(at), 0).UTC().Format("15:04") }
