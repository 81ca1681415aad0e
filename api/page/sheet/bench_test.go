package sheet_test

import (
	"os"
	"testing"

	"rideout/api/page/measure"
	"rideout/api/page/sheet"
)

// BenchmarkPDF prints a full plan; most of it is the search for the largest type.
func BenchmarkPDF(b *testing.B) {
	var k sheet.Kept
	for name, into := range map[string]*[]byte{"plan": &k.Answer, "request": &k.Inputs, "working": &k.Working} {
		body, err := os.ReadFile("../testdata/" + name + ".json")
		if err != nil {
			b.Fatal(err)
		}
		*into = body
	}
	k.Units = measure.Metric
	for b.Loop() {
		s, err := sheet.New(k)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := s.PDF(sheet.A4); err != nil {
			b.Fatal(err)
		}
	}
}
