package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"sync"
	"time"
)

// side is one thing that takes turns with others.
type side struct {
	name string
	shot shot
	good int // the status it is about
}

// turns has each side saturated in turn, round by round, and prints its median rate and the median of its ratios to the first.
func turns(g *ground, o options, title string, sides []side) {
	rates, ratios := make([][]float64, len(sides)), make([][]float64, len(sides))
	p50, p99 := make([][]time.Duration, len(sides)), make([][]time.Duration, len(sides))
	others := map[string]string{}
	for i := range sides {
		saturate(g.http, o.workers, o.span/4, sides[i].shot) // caches and connections are there before it counts
	}
	for range o.rounds {
		for i, s := range sides {
			v := saturate(g.http, o.workers, o.span, s.shot)
			rates[i] = append(rates[i], v.rate(s.good))
			ratios[i] = append(ratios[i], v.rate(s.good)/rates[0][len(rates[0])-1])
			p50[i], p99[i] = append(p50[i], v.quantile(0.5, s.good)), append(p99[i], v.quantile(0.99, s.good))
			if len(v.statuses) > 1 || v.statuses[s.good] == 0 {
				others[s.name] = v.String()
			}
		}
	}
	fmt.Printf("\n%s\n%-46s %10s %8s %20s %10s %10s\n", title, "", "a second", "ratio", "ratios of rounds", "p50", "p99")
	for i, s := range sides {
		fmt.Printf("%-46s %10.0f %8.2f %20s %10s %10s\n", s.name, median(rates[i]), median(ratios[i]),
			fmt.Sprintf("%.2f to %.2f", slices.Min(ratios[i]), slices.Max(ratios[i])), ms(median(p50[i])), ms(median(p99[i])))
	}
	for name, statuses := range others {
		fmt.Printf("  other answers in a round of %s: %s\n", name, statuses)
	}
}

func median[T float64 | time.Duration](of []T) T {
	sorted := slices.Sorted(slices.Values(of))
	return sorted[len(sorted)/2]
}

func ms(d time.Duration) string { return fmt.Sprintf("%.1f ms", float64(d.Microseconds())/1000) }

func (g *ground) plan(ctx context.Context, fields ...string) shot {
	return func(i int) *http.Request {
		i %= len(g.plans)
		return g.get(ctx, g.service+"/v1/plans/"+g.plans[i].String(), g.keys[i], fields...)
	}
}

func (g *ground) bareRead(ctx context.Context) shot {
	return func(int) *http.Request { return g.get(ctx, g.bare+"/bare/"+g.plans[0].String(), "") }
}

// etags asks once for the tags of all plans.
func (g *ground) etags(ctx context.Context) ([]string, error) {
	var tags []string
	for i := range g.plans {
		answer, err := g.http.Do(g.plan(ctx)(i))
		if err != nil {
			return nil, err
		}
		_ = answer.Body.Close()
		tags = append(tags, answer.Header.Get("ETag"))
	}
	return tags, nil
}

func reads(ctx context.Context, g *ground, o options) error {
	tags, err := g.etags(ctx)
	if err != nil {
		return err
	}
	turns(g, o, "Reads", []side{
		{"bare read of an answer", g.bareRead(ctx), http.StatusOK},
		{"GET plan", g.plan(ctx), http.StatusOK},
		{"GET plan, known by its ETag", func(i int) *http.Request {
			return g.plan(ctx, "If-None-Match", tags[i%len(tags)])(i)
		}, http.StatusNotModified},
		{"GET plan, gzip", g.plan(ctx, "Accept-Encoding", "gzip"), http.StatusOK},
		{"GET storm plan", func(int) *http.Request { return g.stormPlan(ctx, g.service) }, http.StatusOK},
	})
	return nil
}

func (g *ground) stormPlan(ctx context.Context, service string) *http.Request {
	return g.get(ctx, service+"/v1/vessels/"+g.vessel.String()+"/storm-plan", g.keys[0])
}

func inserts(ctx context.Context, g *ground, o options) error {
	order := g.body(g.order)
	remembered := func(orgs int) shot {
		return func(i int) *http.Request { return g.post(ctx, g.service+"/v1/plans", g.keys[i%orgs], order) }
	}
	turns(g, o, "Inserts", []side{
		{"bare insert of the same bytes", func(int) *http.Request { return g.post(ctx, g.bare+"/bare", "", order) }, http.StatusCreated},
		{"bare insert, packed by lz4 as the service's", func(int) *http.Request { return g.post(ctx, g.bare+"/bare/lz4", "", order) }, http.StatusCreated},
		{"POST plan, calculation remembered", remembered(len(g.keys)), http.StatusCreated},
		{"the same, all of one organisation", remembered(1), http.StatusCreated},
		{"POST calculation, remembered", func(i int) *http.Request {
			return g.post(ctx, g.service+"/v1/calculations", g.keys[i%len(g.keys)], order)
		}, http.StatusOK},
	})
	return nil
}

// curve asks at a rate, whatever comes back, from a tenth of what went at most to beyond it.
func curve(ctx context.Context, g *ground, o options) error {
	most := saturate(g.http, o.workers, o.span, g.plan(ctx)).rate(http.StatusOK)
	fmt.Printf("\nGET plan at a rate, latency from when each was due; with callers that wait at most %.0f a second went\n", most)
	fmt.Printf("%10s %10s %10s %10s %10s\n", "sent/s", "answered/s", "p50", "p90", "p99")
	for _, share := range []float64{0.1, 0.25, 0.4, 0.55, 0.7, 0.8, 0.9, 1, 1.1} {
		v := fire(g.http, share*most, o.span, g.plan(ctx))
		fmt.Printf("%10.0f %10.0f %10s %10s %10s\n", share*most, v.rate(http.StatusOK), ms(v.quantile(0.5)), ms(v.quantile(0.9)), ms(v.quantile(0.99)))
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return nil
}

// different is an order nobody has sent yet.
func (g *ground) different() []byte {
	vessel := maps.Clone(g.order["vessel"].(map[string]any))
	vessel["displacement_kg"] = 14000 + float64(g.asked.Add(1))/100
	order := maps.Clone(g.order)
	order["vessel"] = vessel
	return g.body(order)
}

// queue asks for more calculations than the machine can make, and reads beside them.
func queue(ctx context.Context, g *ground, o options) error {
	const readsPerSecond, asked = 40, 8.0
	span := 4 * o.span
	read := func(i int) *http.Request {
		i %= len(g.plans)
		return g.get(ctx, g.usual+"/v1/plans/"+g.plans[i].String(), g.keys[i])
	}
	calm := fire(g.http, readsPerSecond, span, read)
	var beside, calculations volley
	var both sync.WaitGroup
	both.Go(func() { beside = fire(g.http, readsPerSecond, span, read) })
	both.Go(func() {
		calculations = fire(g.http, asked, span, func(i int) *http.Request {
			return g.post(ctx, g.usual+"/v1/calculations", g.keys[i%len(g.keys)], g.different())
		})
	})
	both.Wait()
	fmt.Printf("\n%.0f new calculations a second asked for, %d reads a second beside them\n", asked, readsPerSecond)
	fmt.Printf("answers: %s; 503 without Retry-After: %d\n", calculations, calculations.noRetry)
	fmt.Printf("503 after: p50 %s, p99 %s, last %s; a calculation made after: p50 %s, last %s\n", ms(calculations.quantile(0.5, 503)), ms(calculations.quantile(0.99, 503)), ms(calculations.quantile(1, 503)),
		ms(calculations.quantile(0.5, 200)), ms(calculations.quantile(1, 200)))
	fmt.Printf("reads without: p50 %s, p99 %s; beside calculations: p50 %s, p99 %s (%s)\n", ms(calm.quantile(0.5)), ms(calm.quantile(0.99)), ms(beside.quantile(0.5)), ms(beside.quantile(0.99)), beside)
	return nil
}

// mixed is a day's traffic at a rate the machine bears.
func mixed(ctx context.Context, g *ground, o options) error {
	tags, err := g.etags(ctx)
	if err != nil {
		return err
	}
	order := g.body(g.order)
	most := saturate(g.http, o.workers, o.span, g.plan(ctx)).rate(http.StatusOK)
	kinds := []struct {
		name  string
		share float64
		shot  shot
	}{
		{"GET plan", 0.40, g.plan(ctx)},
		{"GET plan, known by its ETag", 0.25, func(i int) *http.Request { return g.plan(ctx, "If-None-Match", tags[i%len(tags)])(i) }},
		{"GET plans", 0.15, func(i int) *http.Request { return g.get(ctx, g.service+"/v1/plans", g.keys[i%len(g.keys)]) }},
		{"GET storm plan", 0.10, func(int) *http.Request { return g.stormPlan(ctx, g.service) }},
		{"GET readiness", 0.05, func(i int) *http.Request { return g.get(ctx, g.service+"/v1/readiness", g.keys[i%len(g.keys)]) }},
		{"POST plan, calculation remembered", 0.05, func(i int) *http.Request { return g.post(ctx, g.service+"/v1/plans", g.keys[i%len(g.keys)], order) }},
	}
	total := 0.4 * most
	came := make([]volley, len(kinds))
	var all sync.WaitGroup
	for i, k := range kinds {
		all.Go(func() { came[i] = fire(g.http, k.share*total, 3*o.span, k.shot) })
	}
	all.Wait()
	fmt.Printf("\nMixed, %.0f a second in all (0.4 of the most reads)\n%-36s %8s %10s %10s  %s\n", total, "", "sent/s", "p50", "p99", "answers")
	for i, k := range kinds {
		fmt.Printf("%-36s %8.1f %10s %10s  %s\n", k.name, k.share*total, ms(came[i].quantile(0.5)), ms(came[i].quantile(0.99)), came[i])
	}
	return nil
}

// rescue reads storm plans alone, and while dashboards of its organisation ask five times as much as their key may.
func rescue(ctx context.Context, g *ground, o options) error {
	const readsPerSecond = 25.0
	span := 2 * o.span
	storm := func(int) *http.Request { return g.stormPlan(ctx, g.usual) }
	board := func(i int) *http.Request {
		paths := []string{"/v1/plans", "/v1/readiness", "/v1/plans/" + g.plans[0].String()}
		return g.get(ctx, g.usual+paths[i/len(paths)%len(paths)], g.keys[0])
	}
	fire(g.http, 250, 6*time.Second, board) // the key's bucket is empty from here on
	var alone, beside []time.Duration
	var ratios []float64
	refused, passed := 0, 0
	for range o.rounds {
		a := fire(g.http, readsPerSecond, span, storm)
		var b, dashboards volley
		var both sync.WaitGroup
		both.Go(func() { dashboards = fire(g.http, 100, span, board) })
		both.Go(func() { b = fire(g.http, readsPerSecond, span, storm) })
		both.Wait()
		alone, beside = append(alone, a.quantile(0.99)), append(beside, b.quantile(0.99))
		ratios = append(ratios, float64(b.quantile(0.99))/math.Max(1, float64(a.quantile(0.99))))
		passed, refused = passed+dashboards.statuses[http.StatusOK], refused+dashboards.statuses[http.StatusTooManyRequests]
		if n := b.statuses[http.StatusOK]; n != int(readsPerSecond*span.Seconds()) {
			fmt.Printf("rescue reads that failed: %s\n", b)
		}
	}
	fmt.Printf("\n%.0f storm plans a second alone, and while dashboards ask for five times what their key may (%d answered, %d refused by 429)\n", readsPerSecond, passed, refused)
	fmt.Printf("p99 alone %s, beside %s, medians; ratio %.2f (%.2f to %.2f)\n", ms(median(alone)), ms(median(beside)), median(ratios), slices.Min(ratios), slices.Max(ratios))
	return nil
}
