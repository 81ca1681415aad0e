package forecast

import (
	"fmt"
	"slices"
	"strings"

	"rideout/service/planner"
)

// DecodeNDBC reads standard meteorological data ("stdmet") of the U.S. National Data Buoy Center, in
// the forms its files have had: with or without the # and the row of units, with two- or four-digit
// years, with or without minutes, history (oldest first) and real time (newest first). Columns are
// found by their names. Several files may follow each other, each with its header.
//
// WSPD, GST, WVHT and DPD become the steps' wind, gust, Hs and Tp; WDIR and MWD the directions wind
// and waves come from. Each column has its own mark for missing (99.0, 99.00, 999, or MM in real
// time): a wind from 099 degrees is no gap. A row without wind speed is dropped, for a step must
// have one; other missing values stay nil. Rows are put into time order and of two rows of one time
// the first is kept. Each of these is told in a Note.
//
// A buoy's wind is an 8 min mean at 3 to 5 m (a coast station's a 2 min mean at its mast) and is taken
// as given: the text doesn't say the height, so nothing is converted to 10 m and a Note says so.
//
// The error is an *Error with everything wrong, lines counted from 1.
//
// Source: National Data Buoy Center, Measurement Descriptions and Units; station pages' file headers.
func DecodeNDBC(text []byte) (planner.Forecast, []Note, error) {
	r := ndbcReader{}
	for i, line := range strings.Split(string(text), "\n") {
		r.line(i+1, strings.Fields(line))
	}
	if r.header == nil && len(r.list) == 0 {
		r.add("/line/1", "there is no header", "begin with the line that names the columns, such as #YY MM DD hh mm WDIR WSPD ...")
	}
	if len(r.list) == 0 && len(r.steps) == 0 {
		r.add("/line/1", fmt.Sprintf("no row has a wind speed (%s without)", counted(r.windMissing, "row")), "send a record of a station that measures wind")
	}
	if err := r.err(); err != nil {
		return planner.Forecast{}, nil, err
	}
	steps, notes := inOrder(r.steps)
	if r.windMissing > 0 {
		notes = append(notes, Note{NoteWindMissing, r.windMissing, counted(r.windMissing, "row") + " without wind speed dropped"})
	}
	notes = append(notes, periodNotes(r.periodsZero)...)
	notes = append(notes, gapNotes(steps)...)
	notes = append(notes, Note{NoteWindAsGiven, 0, "the wind is taken as measured, for a buoy an 8 min mean at 3 to 5 m above the water, as if it were at 10 m, where its force is 1.22 to 1.43 times what is reckoned with"})
	return planner.Forecast{Source: "NDBC standard meteorological data", Steps: steps, Notes: forPlan(notes)}, notes, nil
}

// inOrder sorts by time, keeping the file's order among equal times, and drops repeats.
func inOrder(steps []planner.Step) ([]planner.Step, []Note) {
	var notes []Note
	byTime := func(a, b planner.Step) int { return a.Time.Compare(b.Time) }
	if !slices.IsSortedFunc(steps, byTime) {
		slices.SortStableFunc(steps, byTime)
		notes = append(notes, Note{NoteReordered, len(steps), "the rows were not oldest first and were put into time order"})
	}
	all := len(steps)
	steps = slices.CompactFunc(steps, func(a, b planner.Step) bool { return a.Time.Equal(b.Time) })
	if n := all - len(steps); n > 0 {
		notes = append(notes, Note{NoteDuplicateTime, n, counted(n, "row") + " repeating a time dropped, the first kept"})
	}
	return steps, notes
}

// ndbcReader reads line by line under the latest header.
type ndbcReader struct {
	problems
	header      []string
	columns     map[string]int
	steps       []planner.Step
	windMissing int
	periodsZero int
}

func (r *ndbcReader) line(number int, fields []string) {
	at := fmt.Sprintf("/line/%d", number)
	switch {
	case len(fields) == 0:
	case isHeader(fields):
		r.readHeader(at, fields)
	case r.header == nil:
		if len(r.list) == 0 { // once is enough, not for every row
			r.add(at, "the line comes before any header", "begin with the line that names the columns, such as #YY MM DD hh mm WDIR WSPD ...")
		}
	case r.columns == nil: // the header was refused
	case isUnits(fields):
		r.checkUnits(at, fields)
	case strings.HasPrefix(fields[0], "#"): // a remark
	default:
		r.row(at, fields)
	}
}

// isHeader knows a header by the name of its first column.
func isHeader(fields []string) bool {
	switch strings.TrimPrefix(fields[0], "#") {
	case "YY", "YYYY":
		return true
	}
	return false
}

func isUnits(fields []string) bool { return strings.TrimPrefix(fields[0], "#") == "yr" }

// renamed maps names of before 2007 to today's.
var renamed = map[string]string{"#YY": "YY", "#YYYY": "YY", "YYYY": "YY", "WD": "WDIR"}

func (r *ndbcReader) readHeader(at string, fields []string) {
	r.header, r.columns = fields, map[string]int{}
	before := len(r.list) + r.dropped
	for i, name := range fields {
		if today, ok := renamed[name]; ok {
			name = today
		}
		if _, twice := r.columns[name]; twice {
			r.add(at+"/"+name, "the column is named twice", "send the header as the Center writes it")
		}
		r.columns[name] = i
	}
	for _, name := range []string{"MM", "DD", "hh", "WSPD"} {
		if _, ok := r.columns[name]; !ok {
			r.add(at, "there is no column "+name, "send standard meteorological data; spectral files have no wind")
		}
	}
	if len(r.list)+r.dropped > before {
		r.columns = nil
	}
}

// metricUnits are the units the Center writes under the columns we read.
var metricUnits = map[string][]string{
	"WDIR": {"degT", "deg"}, "WSPD": {"m/s"}, "GST": {"m/s"},
	"WVHT": {"m"}, "DPD": {"sec"}, "MWD": {"degT", "deg"},
}

func (r *ndbcReader) checkUnits(at string, fields []string) {
	for _, name := range []string{"WDIR", "WSPD", "GST", "WVHT", "DPD", "MWD"} {
		i, ok := r.columns[name]
		if !ok {
			continue
		}
		if i >= len(fields) || !slices.Contains(metricUnits[name], fields[i]) {
			r.add(at+"/"+name, "the unit is not "+metricUnits[name][0], "send the Center's metric file")
		}
	}
}

// row reads one line of data.
func (r *ndbcReader) row(at string, fields []string) {
	if len(fields) != len(r.header) && !r.lacksTideOnly(fields) {
		r.add(at, fmt.Sprintf("the row has %s and the header %d", counted(len(fields), "column"), len(r.header)), "send whole rows; mark a missing value, don't leave it out")
		return
	}
	row := ndbcRow{fields: fields, columns: r.columns, at: at, problems: &r.problems}
	when := row.time()
	windMS := row.value("WSPD")
	s := planner.Step{
		Time: when, GustMS: row.value("GST"), WindFrom: row.direction("WDIR"),
		HsM: row.value("WVHT"), TpS: row.value("DPD"), WaveFrom: row.direction("MWD"),
	}
	if row.wrong {
		return
	}
	if windMS == nil {
		r.windMissing++
		return
	}
	s.WindMS = *windMS
	r.periodsZero += dropZeroPeriods(&s)
	r.steps = append(r.steps, s)
}

// lacksTideOnly allows the rows of the year the TIDE column came in: the header has it, they don't.
func (r *ndbcReader) lacksTideOnly(fields []string) bool {
	last := len(r.header) - 1
	return len(fields) == last && r.header[last] == "TIDE"
}
