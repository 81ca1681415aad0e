package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"

	"rideout/api/client"
	"rideout/openapi"
)

// exported is a list that can be taken away, one item a line.
type exported struct {
	name string
	ask  func(ctx context.Context, r *remote, at asOf, cursor *string) (*http.Response, error)
}

func exports() []exported {
	return []exported{
		{"plans", func(ctx context.Context, r *remote, _ asOf, cursor *string) (*http.Response, error) {
			return r.ListPlans(ctx, &openapi.ListPlansParams{Limit: pages, Cursor: cursor})
		}},
		{"vessels", func(ctx context.Context, r *remote, at asOf, cursor *string) (*http.Response, error) {
			return r.ListVessels(ctx, &openapi.ListVesselsParams{ValidAt: at.valid, KnownAt: at.known, Limit: pages, Cursor: cursor})
		}},
		{"incidents", func(ctx context.Context, r *remote, at asOf, cursor *string) (*http.Response, error) {
			return r.ListIncidents(ctx, &openapi.ListIncidentsParams{ValidAt: at.valid, KnownAt: at.known, Limit: pages, Cursor: cursor})
		}},
		{"readiness", func(ctx context.Context, r *remote, at asOf, cursor *string) (*http.Response, error) {
			return r.ListReadiness(ctx, &openapi.ListReadinessParams{ValidAt: at.valid, KnownAt: at.known, Limit: pages, Cursor: cursor})
		}},
	}
}

// export writes a list as NDJSON, one item a line, as it was answered, or an audit.
func export(ctx context.Context, p program, args []string) error {
	var names []string
	for _, e := range exports() {
		names = append(names, e.name)
	}
	names = append(names, "audit")
	var c calling
	var at asOf
	var a audit
	flags := newFlags("export")
	c.serviceFlags(p, flags)
	what := flags.String("what", "", "`one` of "+strings.Join(names, ", "))
	whole := flags.Bool("whole", false, "of plans: each whole document, not its line in the list")
	out := flags.String("out", "", "write to this `file`, which appears when it is whole")
	at.flags(flags)
	a.flags(flags)
	if err := parse(p, flags, args); err != nil {
		return err
	}
	chosen := slices.IndexFunc(exports(), func(e exported) bool { return e.name == *what })
	switch {
	case *what == "audit":
		if *whole || at.valid != nil || at.known != nil {
			return usageError{"export: an audit has all that was recorded; choose its span by --from and --to"}
		}
		return a.export(ctx, p, c, *out)
	case a.asked():
		return usageError{"export: --from, --to, --format, --manifest and --since are for --what audit"}
	case chosen < 0:
		return usageError{fmt.Sprintf("export: --what is %q: give %s", *what, strings.Join(names, ", "))}
	case *whole && *what != "plans":
		return usageError{"export: --whole is for plans; the other lists are whole"}
	case *what == "plans" && (at.valid != nil || at.known != nil):
		return usageError{"export: plans are never changed, so they are not asked as of a time"}
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	defer r.progress.end()
	return toFile(*out, p.stdout, func(w io.Writer) error { return r.export(ctx, w, exports()[chosen], at, *whole) })
}

func (r *remote) export(ctx context.Context, w io.Writer, e exported, at asOf, whole bool) error {
	n := 0
	for item, err := range client.Items(func(cursor *string) (*http.Response, error) { return e.ask(ctx, r, at, cursor) }) {
		if err == nil && whole {
			item, err = r.wholePlan(ctx, item)
		}
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "%s\n", item); err != nil {
			return err
		}
		n++
		r.progress.tell("%d %s", n, e.name)
	}
	return nil
}

func (r *remote) wholePlan(ctx context.Context, item json.RawMessage) (json.RawMessage, error) {
	var named struct{ ID uuid.UUID }
	if err := json.Unmarshal(item, &named); err != nil {
		return nil, fmt.Errorf("the answer is not what the contract says: %w", err)
	}
	return client.Bytes(r.GetPlan(ctx, named.ID))
}
