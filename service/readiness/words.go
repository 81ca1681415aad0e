package readiness

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"
)

// day writes a day as people do.
func day(t time.Time) string { return t.UTC().Format("2 January 2006") }

// number writes a figure without a tail of noughts.
func number(x float64) string { return fmt.Sprintf("%.6g", x) }

// hours writes hours whole, and downward, so that they never seem to reach a limit they have not reached.
func hours(h float64) string { return number(math.Floor(h)) }

// percent writes a share.
func percent(share float64) string { return fmt.Sprintf("%.3g %%", 100*share) }

// plain writes a word of the contract as people do.
func plain(word string) string { return strings.ReplaceAll(word, "_", " ") }

// months writes an interval.
func months(n int) string {
	if n == 1 {
		return "month"
	}
	return fmt.Sprintf("%d months", n)
}

// name is what a piece of gear is called: its kind, its name, its serial number.
func (g Gear) name() string {
	text := "the " + plain(g.Item.Kind)
	if g.Item.Name != "" {
		text += fmt.Sprintf(" %q", g.Item.Name)
	}
	if g.Item.Serial != "" {
		text += " (" + g.Item.Serial + ")"
	}
	return text
}

// sentence begins a text with a capital.
func sentence(format string, args ...any) string {
	text := fmt.Sprintf(format, args...)
	return strings.ToUpper(text[:1]) + text[1:]
}

func vesselPath(id uuid.UUID) string { return "/v1/vessels/" + id.String() }

func (c *circumstances) vesselEvidence() Evidence { return Evidence{"vessel", vesselPath(c.ID)} }

func (c *circumstances) gearEvidence() Evidence {
	return Evidence{"gear of the vessel", vesselPath(c.ID) + "/gear"}
}

func (g Gear) evidence() Evidence { return Evidence{"gear", "/v1/gear/" + g.ID.String()} }

func (i Inspection) evidence() Evidence {
	return Evidence{"inspection", "/v1/inspections/" + i.ID.String()}
}

func (p Plan) evidence() Evidence { return Evidence{"plan", "/v1/plans/" + p.ID.String()} }

var policyEvidence = Evidence{"policy", "/v1/policy"}

// after adds whole months to a time. A day the month lacks becomes its last: a year after 29 February is 28 February.
func after(t time.Time, months int) time.Time {
	t = t.UTC()
	y, m, d := t.Date()
	last := time.Date(y, m+time.Month(months)+1, 0, 0, 0, 0, 0, time.UTC).Day()
	hour, minute, second := t.Clock()
	return time.Date(y, m+time.Month(months), min(d, last), hour, minute, second, t.Nanosecond(), time.UTC)
}
