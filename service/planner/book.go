package planner

import (
	"fmt"

	"rideout/service/physics/constant"
	"rideout/service/physics/quantity"
)

// book gathers what every answer carries while it is computed: assumptions, warnings, working.
type book struct {
	assumptions []Assumption
	warnings    []Warning
	working     []WorkingStep
}

func (b *book) assume(name string, v Band, unit, source, why string) {
	b.assumptions = append(b.assumptions, Assumption{Name: name, Value: v, Unit: unit, Source: source, Why: why})
}

func (b *book) assumeCoefficient(name string, c constant.Coefficient, unit, why string) {
	b.assume(name, c.Band, unit, c.Source, why)
}

// given records a value an engineer imposed, in place of an assumption.
func (b *book) given(name string, v float64, unit string) {
	b.assume(name, quantity.Exactly(v), unit, "given in the request under assume", "imposed by the caller; its band collapses to it")
}

func (b *book) warn(code, format string, args ...any) {
	b.warnings = append(b.warnings, Warning{Code: code, Message: fmt.Sprintf(format, args...)})
}

func (b *book) work(section, title, formula, source string, values ...WorkingValue) {
	b.working = append(b.working, WorkingStep{Section: section, Title: title, Formula: formula, Source: source, Values: values})
}

func val(symbol, meaning string, v float64, unit string) WorkingValue {
	return WorkingValue{Symbol: symbol, Meaning: meaning, Value: v, Unit: unit}
}

func result(symbol, meaning string, v float64, unit string) WorkingValue {
	return WorkingValue{Symbol: symbol, Meaning: meaning, Value: v, Unit: unit, Result: true}
}
