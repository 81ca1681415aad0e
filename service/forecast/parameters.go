package forecast

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
)

// role is what a parameter gives to a step.
type role string

const (
	wind, gust, windFrom, windEast, windNorth         role = "wind speed", "gust", "wind direction", "eastward wind", "northward wind"
	hs, tp, waveFrom                                  role = "significant wave height", "peak wave period", "wave direction"
	windSeaHs, windSeaTp, windSeaFrom                 role = "wind sea height", "wind sea period", "wind sea direction"
	swellHs, swellTp                                  role = "swell height", "swell period"
	current, currentToward, currentEast, currentNorth role = "current", "current direction", "eastward current", "northward current"
	depth                                             role = "water depth"
)

// limit is the dimension of a role and the values it may have, in SI. The bounds lie beyond any
// weather; they catch fill values such as -9999 and 9.97e36 where null was meant.
type limit struct {
	of       dimension
	min, max float64
}

// turn is a little more than a full turn, for 360 degrees in radians is not exact.
const turn = 2 * math.Pi * (1 + 1e-12)

var limits = map[role]limit{
	wind:      {speed, 0, 150},
	gust:      {speed, 0, 150},
	windEast:  {speed, -150, 150},
	windNorth: {speed, -150, 150},
	hs:        {length, 0, 50},
	windSeaHs: {length, 0, 50},
	swellHs:   {length, 0, 50},
	tp:        {period, 0, 100},
	windSeaTp: {period, 0, 100},
	swellTp:   {period, 0, 100},

	windFrom:      {angle, -turn, turn},
	waveFrom:      {angle, -turn, turn},
	windSeaFrom:   {angle, -turn, turn},
	currentToward: {angle, -turn, turn},

	current:      {speed, 0, 15},
	currentEast:  {speed, -15, 15},
	currentNorth: {speed, -15, 15},
	depth:        {length, 0, 12000},
}

// standardName is a name of the CF Standard Name Table and the role it plays. Reverse marks a
// direction given the other way round.
type standardName struct {
	name    string
	role    role
	reverse bool
}

// standardNames in order of preference where several play one role. The plain wind-wave and swell
// periods leave open which period they are; they stand last and are taken as peak periods.
var standardNames = []standardName{
	{"wind_speed", wind, false},
	{"wind_speed_of_gust", gust, false},
	{"wind_from_direction", windFrom, false},
	{"wind_to_direction", windFrom, true},
	{"eastward_wind", windEast, false},
	{"northward_wind", windNorth, false},
	{"sea_surface_wave_significant_height", hs, false},
	{"sea_surface_wave_period_at_variance_spectral_density_maximum", tp, false},
	{"sea_surface_wave_from_direction", waveFrom, false},
	{"sea_surface_wave_from_direction_at_variance_spectral_density_maximum", waveFrom, false},
	{"sea_surface_wave_to_direction", waveFrom, true},
	{"sea_surface_wind_wave_significant_height", windSeaHs, false},
	{"sea_surface_wind_wave_period_at_variance_spectral_density_maximum", windSeaTp, false},
	{"sea_surface_wind_wave_period", windSeaTp, false},
	{"sea_surface_wind_wave_from_direction", windSeaFrom, false},
	{"sea_surface_swell_wave_significant_height", swellHs, false},
	{"sea_surface_swell_wave_period_at_variance_spectral_density_maximum", swellTp, false},
	{"sea_surface_swell_wave_period", swellTp, false},
	{"sea_water_speed", current, false},
	{"sea_water_velocity_to_direction", currentToward, false},
	{"direction_of_sea_water_velocity", currentToward, false},
	{"sea_water_velocity_from_direction", currentToward, true},
	{"eastward_sea_water_velocity", currentEast, false},
	{"northward_sea_water_velocity", currentNorth, false},
	{"sea_floor_depth_below_sea_surface", depth, false},
	{"sea_floor_depth_below_mean_sea_level", depth, false},
	{"sea_floor_depth_below_geoid", depth, false},
	{"sea_floor_depth", depth, false},
}

// chosen is the parameter that plays a role.
type chosen struct {
	key  string
	at   node
	rank int // in standardNames
}

// chooseParameters finds for each role the parameter to use. Two parameters of one standard name
// (two members of an ensemble, two heights) are a problem: we can't know which is meant.
func chooseParameters(parameters node, p *problems) (map[role]chosen, []string) {
	byRole := map[role]chosen{}
	var unused []string
	for _, key := range parameters.names() {
		at, _ := parameters.member(key)
		checkParameter(at, p)
		rank, ok := rankOf(key, at)
		if !ok {
			unused = append(unused, key)
			continue
		}
		r := standardNames[rank].role
		other, taken := byRole[r]
		switch {
		case !taken:
			byRole[r] = chosen{key, at, rank}
		case other.rank == rank:
			p.add(at.at, fmt.Sprintf("%s is given by %q already", standardNames[rank].name, other.key), "send one parameter for each standard name")
		case rank < other.rank:
			byRole[r] = chosen{key, at, rank}
			unused = append(unused, other.key)
		default:
			unused = append(unused, key)
		}
	}
	slices.Sort(unused)
	return byRole, unused
}

// checkParameter holds a parameter against what the standard requires of every one, so that a broken
// one isn't passed over as a parameter of no use.
func checkParameter(parameter node, p *problems) {
	kind, _ := parameter.member("type")
	if text, _ := kind.text(); text != "Parameter" {
		p.add(kind.at, "the type is not Parameter", `set "type": "Parameter"`)
	}
	property, _ := parameter.member("observedProperty")
	label, _ := property.member("label")
	if len(label.names()) == 0 {
		p.add(label.at, "the observed property has no label", `give "label": {"en": "..."}`)
	}
	for _, language := range label.names() {
		text, _ := label.member(language)
		checkText(text, p)
	}
	if id, ok := property.member("id"); ok {
		checkText(id, p)
	}
}

func checkText(n node, p *problems) {
	if _, ok := n.text(); !ok {
		p.add(n.at, "the value is not a string", "send a string")
	}
}

// rankOf recognises a parameter by its observed property's id, else by the property's label, else
// by its key. Whole names alone count: wind_speed is not seen in wind_speed_of_gust.
func rankOf(key string, parameter node) (int, bool) {
	property, _ := parameter.member("observedProperty")
	if id, ok := property.member("id"); ok {
		text, _ := id.text()
		for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r != '_' && !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if rank, ok := rankOfName(word); ok {
				return rank, true
			}
		}
	}
	labels, _ := property.member("label")
	for _, language := range labels.names() {
		label, _ := labels.member(language)
		text, _ := label.text()
		if rank, ok := rankOfName(text); ok {
			return rank, true
		}
	}
	return rankOfName(key)
}

var labelAsName = strings.NewReplacer(" ", "_", "-", "_")

func rankOfName(text string) (int, bool) {
	name := labelAsName.Replace(strings.ToLower(strings.TrimSpace(text)))
	rank := slices.IndexFunc(standardNames, func(s standardName) bool { return s.name == name })
	return rank, rank >= 0
}

// unitOf reads a parameter's unit and holds it against the dimension its role needs.
func unitOf(parameter node, r role, p *problems) (unit, bool) {
	need := limits[r].of
	fix := fmt.Sprintf("give unit.symbol as a UCUM code of %s, such as %q", need, need.example())
	u, ok := parameter.member("unit")
	if !ok {
		p.add(parameter.at, fmt.Sprintf("the %s has no unit", r), fix)
		return unit{}, false
	}
	where, symbol, ok := symbolOf(u)
	if !ok {
		p.add(where.at, "the unit has no symbol", fix)
		return unit{}, false
	}
	known, ok := units[symbol]
	if !ok {
		p.add(where.at, fmt.Sprintf("the unit %q is not known", symbol), fix)
		return unit{}, false
	}
	if known.of != need {
		p.add(where.at, fmt.Sprintf("%q is a unit of %s; the %s needs one of %s", symbol, known.of, r, need), fix)
		return unit{}, false
	}
	return known, true
}

// symbolOf reads unit.symbol, a string or an object with type and value.
func symbolOf(u node) (where node, symbol string, ok bool) {
	s, ok := u.member("symbol")
	if !ok {
		return u, "", false
	}
	if text, ok := s.text(); ok {
		return s, text, true
	}
	scheme, _ := s.member("type")
	value, ok := s.member("value")
	if !ok {
		return s, "", false
	}
	_, named := scheme.text()
	text, ok := value.text()
	return value, text, ok && named
}
