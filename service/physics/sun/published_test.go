package sun_test

import (
	"testing"
	"time"

	"rideout/service/physics/geo"
	"rideout/service/physics/internal/published"
	"rideout/service/physics/quantity"
	"rideout/service/physics/sun"
)

// Instants of a day are held in minutes after 00:00 UTC of its date; those of the evening before are negative.
func TestPublished(t *testing.T) {
	t.Parallel()
	published.Run(t, "sun", map[string]published.Calc{
		"rise":                  minutes(func(d sun.Day) sun.Event { return d.Rise }),
		"set":                   minutes(func(d sun.Day) sun.Event { return d.Set }),
		"civil_dawn":            minutes(func(d sun.Day) sun.Event { return d.CivilDawn }),
		"civil_dusk":            minutes(func(d sun.Day) sun.Event { return d.CivilDusk }),
		"nautical_dawn":         minutes(func(d sun.Day) sun.Event { return d.NauticalDawn }),
		"nautical_dusk":         minutes(func(d sun.Day) sun.Event { return d.NauticalDusk }),
		"rise_passage":          passage(func(d sun.Day) sun.Event { return d.Rise }),
		"set_passage":           passage(func(d sun.Day) sun.Event { return d.Set }),
		"civil_dawn_passage":    passage(func(d sun.Day) sun.Event { return d.CivilDawn }),
		"civil_dusk_passage":    passage(func(d sun.Day) sun.Event { return d.CivilDusk }),
		"nautical_dawn_passage": passage(func(d sun.Day) sun.Event { return d.NauticalDawn }),
		"nautical_dusk_passage": passage(func(d sun.Day) sun.Event { return d.NauticalDusk }),
		"noon": func(in published.Inputs) (float64, error) {
			d, err := day(in)
			return minutesOfDate(in, d.Noon), err
		},
		"altitude": func(in published.Inputs) (float64, error) {
			p, err := givenPosition(in)
			return p.Altitude.Degrees(), err
		},
		"azimuth": func(in published.Inputs) (float64, error) {
			p, err := givenPosition(in)
			return p.Azimuth.Degrees(), err
		},
		"right_ascension": func(in published.Inputs) (float64, error) {
			p, err := sun.Place(instant(in))
			return p.RightAscension.Degrees(), err
		},
		"declination": func(in published.Inputs) (float64, error) {
			p, err := sun.Place(instant(in))
			return p.Declination.Degrees(), err
		},
	})
}

func TestDerived(t *testing.T) {
	t.Parallel()
	published.Run(t, "sun_derived", map[string]published.Calc{
		"day_length": func(in published.Inputs) (float64, error) {
			d, err := day(in)
			rise, _ := d.Rise.At()
			set, _ := d.Set.At()
			return float64(set-rise) / 60, err
		},
		"noon_altitude": func(in published.Inputs) (float64, error) {
			d, err := day(in)
			return d.NoonAltitude.Degrees(), err
		},
	})
}

func minutes(of func(sun.Day) sun.Event) published.Calc {
	return func(in published.Inputs) (float64, error) {
		d, err := day(in)
		if err != nil {
			return 0, err
		}
		at, ok := of(d).At()
		if !ok {
			return 0, &quantity.RangeError{Name: string(of(d).Passage)}
		}
		return minutesOfDate(in, at), nil
	}
}

func passage(of func(sun.Day) sun.Event) published.Calc {
	return func(in published.Inputs) (float64, error) {
		d, err := day(in)
		return map[sun.Passage]float64{sun.StaysAbove: 1, sun.StaysBelow: -1, sun.Crosses: 0, "": 9}[of(d).Passage], err
	}
}

func day(in published.Inputs) (sun.Day, error) {
	p, err := geo.At(in.Get("latitude_deg"), in.Get("longitude_deg"))
	if err != nil {
		return sun.Day{}, err
	}
	return sun.DayAt(p, date(in))
}

func givenPosition(in published.Inputs) (sun.Position, error) {
	p, err := geo.At(in.Get("latitude_deg"), in.Get("longitude_deg"))
	if err != nil {
		return sun.Position{}, err
	}
	return sun.At(p, instant(in))
}

func minutesOfDate(in published.Inputs, at sun.Instant) float64 { return float64(at-date(in)) / 60 }

func date(in published.Inputs) sun.Instant {
	return utc(int(in.Get("year")), int(in.Get("month")), int(in.Get("day")), 0, 0, 0)
}

func instant(in published.Inputs) sun.Instant {
	return date(in) + sun.Instant(3600*in.Get("hour")+60*in.Get("minute")+in.Get("second"))
}

func utc(year, month, day, hour, minute, second int) sun.Instant {
	return sun.Instant(time.Date(year, time.Month(month), day, hour, minute, second, 0, time.UTC).Unix())
}
