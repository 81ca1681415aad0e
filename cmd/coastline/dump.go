package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// The variables of a binned GSHHG shore file that are read. Names are the source's.
const (
	columnCount  = "N_bins_in_360_longitude_range"
	rowCount     = "N_bins_in_180_degree_latitude_range"
	firstSegment = "Id_of_first_segment_in_a_bin"
	segmentCount = "N_segments_in_a_bin"
	cornerLevels = "Embedded_node_levels_in_a_bin"
	segmentInfo  = "Embedded_npts_levels_exit_entry_for_a_segment"
	firstPoint   = "Id_of_first_point_in_a_segment"
	east         = "Relative_longitude_from_SW_corner_of_bin"
	north        = "Relative_latitude_from_SW_corner_of_bin"
)

var variables = []string{columnCount, rowCount, firstSegment, segmentCount, cornerLevels, segmentInfo, firstPoint, east, north}

// fill is what ncdump prints as "_": the number a 16 bit variable holds where nothing was written. Here
// everything was written, and the number is one like any other.
const fill = -32767

// dumped is the text of ncdump: every variable as a list, and the version of the data.
type dumped struct {
	version string
	lists   map[string][]int
}

// readDump reads the text form of netCDF: attributes, then after "data:" lists of the form "name = 1, 2, 3 ;".
func readDump(text string) (dumped, error) {
	head, data, found := strings.Cut(text, "\ndata:\n")
	if !found {
		return dumped{}, errors.New("no data in the dump")
	}
	d := dumped{lists: map[string][]int{}}
	_, after, found := strings.Cut(head, ":version = \"")
	if !found {
		return dumped{}, errors.New("no version in the dump")
	}
	d.version, _, _ = strings.Cut(after, "\"")
	for _, statement := range strings.Split(data, ";") {
		name, values, found := strings.Cut(statement, " = ")
		if !found {
			continue
		}
		name = strings.TrimSpace(name)
		list, err := numbers(values)
		if err != nil {
			return dumped{}, fmt.Errorf("%s: %w", name, err)
		}
		d.lists[name] = list
	}
	for _, name := range variables {
		if len(d.lists[name]) == 0 {
			return dumped{}, fmt.Errorf("the dump has no %s", name)
		}
	}
	return d, nil
}

func numbers(text string) ([]int, error) {
	list := make([]int, 0, 1+strings.Count(text, ","))
	for word := range strings.SplitSeq(text, ",") {
		word = strings.TrimSpace(word)
		if word == "_" {
			list = append(list, fill)
			continue
		}
		n, err := strconv.Atoi(word)
		if err != nil {
			return nil, err
		}
		list = append(list, n)
	}
	return list, nil
}
