package readiness

import "slices"

// Rule is one thing asked of a vessel. Its code is stable: programs go by it.
type Rule struct {
	Code     string
	Severity Severity
	Asks     string // what must be so, in a sentence

	look rule
}

// rule looks whether something is not as it asks, and tells each such thing.
type rule func(*circumstances, tell)

// tell is told of a finding. Who wants more than to know that there is one has it put into words.
type tell func(words func() Finding)

// Rules lists the rules in the order of their findings.
func Rules() []Rule { return slices.Clone(rules) }

var rules = []Rule{
	{"vessel_not_in_service", Prevents, "The vessel is in service: not laid up, sold or lost.", notInService},
	{"incident_grounds", Prevents, "No incident is open that keeps her in port. A note keeps her there if it says so in `grounds_vessel`, or, where it does not say, if it is serious or very serious; `closed_at` closes it.", grounded},

	{"plan_missing", Prevents, "A plan to ride out a storm was made for her as registered, and no other plan has taken its place.", planMissing},
	{"plan_below_design_storm", Prevents, "One of these plans is for weather that reaches the policy's design storm: at least its wind and its sea, both in the phase with the strongest wind. The newest such plan is the one in force, and the rules below look at it alone.", planBelowStorm},
	{"plan_canopy_unsuited", Prevents, "The plan in force says the canopy carried suits.", canopyUnsuited},
	{"plan_rode_unsuited", Prevents, "The plan in force says the rode carried suits.", rodeUnsuited},
	{"part_over_capacity", Prevents, "In the plan in force no part is loaded beyond its capacity.", partOver},
	{"part_over_at_high_end", Reservation, "In the plan in force no part that is within its capacity at the middle estimate is loaded beyond it at the high end. Plans made before this was kept are not asked.", partOverAtHighEnd},
	{"part_marginal", Reservation, "In the plan in force no part is used above the policy's `marginal_above`.", partMarginal},
	{"plan_old_engine", Prevents, "The plan in force was calculated with an engine that is still supported.", oldEngine},
	{"plan_for_other_gear", Reservation, "The gear rigged is the gear the plan in force was made for. Age and chafe do not count here; they have rules of their own.", otherGear},

	{"gear_missing_canopy", Prevents, "A canopy is rigged for use.", missing(item{"canopy", "No canopy", "canopy", true})},
	{"gear_missing_rode", Prevents, "A rode is rigged for use.", missing(item{"rode", "No rode", "rode", true})},
	{"gear_missing_knife", Prevents, "A knife is aboard, to cut away.", missing(item{"knife", "No knife to cut away with", "knife", false})},
	{"gear_missing_trip_line", Reservation, "A trip line is aboard, spare or rigged.", missing(item{"trip_line", "No trip line", "trip line", false})},
	{"gear_missing_float", Reservation, "A float for the trip line is aboard, spare or rigged.", missing(item{"float", "No float for the trip line", "float", false})},
	{"gear_missing_bridle", Reservation, "A bridle is aboard, spare or rigged.", missing(item{"bridle", "No bridle", "bridle", false})},
	{"gear_missing_light", Reservation, "A light to work by is aboard.", missing(item{"light", "No light to work by", "light", false})},

	{"inspection_missing", Prevents, "All gear rigged that bears load, and the float, has been inspected.", neverInspected},
	{"inspection_overdue", Prevents, "The last inspection of each is not longer ago than the policy's `inspect_every_months`.", inspectionOverdue},
	{"inspection_failed", Prevents, "The last inspection of no gear rigged ended in `repair` or `retire`.", inspectionFailed},
	{"inspection_watch", Reservation, "The last inspection of no gear rigged ended in `watch`.", inspectionWatch},
	{"drill_missing", Reservation, "A drill with the gear in hand has been held aboard; a briefing alone is none.", neverDrilled},
	{"drill_overdue", Reservation, "The last drill is not longer ago than the policy's `drill_every_months`.", drillOverdue},

	{"rode_age_unknown", Reservation, "The age of each rode rigged is known: by its first use, its making or its figures.", rodeAgeUnknown},
	{"rode_too_old", Prevents, "No rode rigged is older than the policy's `rode_retired_after_years`.", rodeTooOld},
	{"rode_used_up", Prevents, "No rode rigged has borne as many hours of storm as the policy's `rode_retired_after_storm_hours`: what is recorded on it and what the deployments add.", rodeUsedUp},
	{"rode_fatigued", Prevents, "No rode rigged has used up as much of its life as the policy's `rode_retired_at_fatigue_share`, reckoned likewise.", rodeFatigued},
	{"canopy_used_up", Prevents, "No canopy rigged has borne as many hours of storm as the policy's `canopy_retired_after_storm_hours`.", canopyUsedUp},
	{"rode_chafed", Prevents, "No rode rigged is worn through as far as the policy's `rode_retired_at_chafed_share`.", rodeChafed},

	{"weather_beyond_plan", Prevents, "Of a window: the usual weather given is within the wind and sea of the plan in force.", beyondPlan},
	{"weather_beyond_category", Prevents, "Of a window: the usual weather given is within her design category, if she has one.", beyondCategory},
}

var rank = map[Verdict]int{Ready: 0, WithReservations: 1, NotReady: 2}

// verdictOf is the word on a vessel with such findings.
func verdictOf(found []Finding) Verdict {
	v := Ready
	for _, f := range found {
		v = worse(v, f.Severity.verdict())
	}
	return v
}

// verdict is the word on a vessel with a finding of the severity.
func (s Severity) verdict() Verdict {
	if s == Prevents {
		return NotReady
	}
	return WithReservations
}

// worse is the worse of two verdicts.
func worse(a, b Verdict) Verdict {
	if rank[a] > rank[b] {
		return a
	}
	return b
}
