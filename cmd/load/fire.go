package main

import (
	"fmt"
	"io"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// shot makes the request with a number.
type shot func(i int) *http.Request

// volley is what came of many requests.
type volley struct {
	statuses  map[int]int // 0: no answer
	latencies map[int][]time.Duration
	took      time.Duration
	noRetry   int // answers 503 without Retry-After
}

func (v *volley) add(status int, took time.Duration, retry bool) {
	v.statuses[status]++
	v.latencies[status] = append(v.latencies[status], took)
	if status == http.StatusServiceUnavailable && !retry {
		v.noRetry++
	}
}

// rate is answers of these statuses a second.
func (v volley) rate(statuses ...int) float64 {
	n := 0
	for _, s := range statuses {
		n += v.statuses[s]
	}
	return float64(n) / v.took.Seconds()
}

// quantile is that of the latencies of these statuses; of all when none is named.
func (v volley) quantile(q float64, statuses ...int) time.Duration {
	var all []time.Duration
	for status, some := range v.latencies {
		if len(statuses) == 0 || slices.Contains(statuses, status) {
			all = append(all, some...)
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[min(int(q*float64(len(all))), len(all)-1)]
}

func (v volley) String() string {
	var words []string
	for _, status := range slices.Sorted(maps.Keys(v.statuses)) {
		words = append(words, fmt.Sprintf("%d: %d", status, v.statuses[status]))
	}
	return strings.Join(words, ", ")
}

// mostInFlight bounds the memory when nothing comes back; what would be beyond it counts as no answer.
const mostInFlight = 4000

// fire sends at a rate whatever comes back, from one start to the span's end. A latency is counted from when the request
// was due, not from when it was sent: a sender that waits for answers would not see what it was kept waiting.
func fire(client *http.Client, perSecond float64, span time.Duration, s shot) volley {
	v := volley{statuses: map[int]int{}, latencies: map[int][]time.Duration{}}
	var mu sync.Mutex
	var flying sync.WaitGroup
	places := make(chan struct{}, mostInFlight)
	begin := time.Now()
	for i := range int(perSecond * span.Seconds()) {
		due := begin.Add(time.Duration(float64(i) / perSecond * float64(time.Second)))
		time.Sleep(time.Until(due))
		select {
		case places <- struct{}{}:
		default:
			mu.Lock()
			v.add(0, 0, false)
			mu.Unlock()
			continue
		}
		flying.Go(func() {
			status, retry := send(client, s(i))
			took := time.Since(due)
			mu.Lock()
			v.add(status, took, retry)
			mu.Unlock()
			<-places
		})
	}
	flying.Wait()
	v.took = time.Since(begin)
	return v
}

// saturate has so many callers ask without a pause, which finds the most that goes.
func saturate(client *http.Client, callers int, span time.Duration, s shot) volley {
	v := volley{statuses: map[int]int{}, latencies: map[int][]time.Duration{}}
	var mu sync.Mutex
	var asking sync.WaitGroup
	begin := time.Now()
	for caller := range callers {
		asking.Go(func() {
			for i := caller; time.Since(begin) < span; i += callers {
				at := time.Now()
				status, retry := send(client, s(i))
				took := time.Since(at)
				mu.Lock()
				v.add(status, took, retry)
				mu.Unlock()
			}
		})
	}
	asking.Wait()
	v.took = time.Since(begin)
	return v
}

func send(client *http.Client, r *http.Request) (status int, retry bool) {
	answer, err := client.Do(r)
	if err != nil {
		return 0, false
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, answer.Body); err != nil { // a part of an answer is none
		return 0, false
	}
	return answer.StatusCode, answer.Header.Get("Retry-After") != ""
}
