package limit_test

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rideout/api/limit"
)

var noon = time.Date(2026, 1, 12, 12, 0, 0, 0, time.UTC)

func passes(l *limit.Limiter, key, organisation string, n int, now time.Time) (passed int, last limit.Verdict) {
	for range n {
		if last = l.Ordinary(key, organisation, now); last.Passes {
			passed++
		}
	}
	return passed, last
}

func TestKeyIsHeldToItsRequests(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{Key: 60, Organisation: 600})
	first := l.Ordinary("a", "school", noon)
	if want := `"key";q=60;w=60, "organisation";q=600;w=60`; !first.Passes || first.Policy != want {
		t.Errorf("first: got %+v, want policy %s", first, want)
	}
	if want := `"key";r=59;t=1, "organisation";r=599;t=1`; first.Left != want || first.RetryAfter != 0 {
		t.Errorf("first: got left %s, retry after %v, want %s and 0", first.Left, first.RetryAfter, want)
	}
	passed, last := passes(l, "a", "school", 100, noon)
	if passed != 59 || last.Passes || last.RetryAfter != time.Second || last.Seconds() != 1 {
		t.Errorf("a hundred more: %d passed, then %+v; want 59, then a second", passed, last)
	}
	if want := `"key";r=0;t=1, "organisation";r=540;t=1`; last.Left != want {
		t.Errorf("refused: got left %s, want %s: what is refused takes nothing from the organisation", last.Left, want)
	}
	if passed, _ := passes(l, "b", "school", 100, noon); passed != 60 {
		t.Errorf("another key: %d passed, want 60", passed)
	}
	if passed, _ := passes(l, "a", "school", 100, noon.Add(10*time.Second)); passed != 10 {
		t.Errorf("10 s later: %d passed, want 10", passed)
	}
	if passed, _ := passes(l, "a", "school", 100, noon.Add(time.Hour)); passed != 60 {
		t.Errorf("an hour later: %d passed, want 60", passed)
	}
}

func TestOrganisationIsHeldToItsRequests(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{Key: 60, Organisation: 100})
	all := 0
	for _, key := range []string{"a", "b", "c"} {
		passed, _ := passes(l, key, "school", 60, noon)
		all += passed
	}
	if all != 100 {
		t.Errorf("three keys: %d passed, want 100", all)
	}
	if v := l.Ordinary("d", "school", noon); v.Passes || v.RetryAfter != 600*time.Millisecond || v.Seconds() != 1 {
		t.Errorf("a fresh key: got %+v, want to be told 0.6 s", v)
	}
	if v := l.Ordinary("e", "charter", noon); !v.Passes {
		t.Errorf("another organisation: got %+v", v)
	}
}

func TestDashboardsLeaveTheReserveAlone(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{Key: 10, Organisation: 10, Rescue: 5, Emergency: 2})
	if passed, _ := passes(l, "a", "school", 1000, noon); passed != 10 {
		t.Fatalf("ordinary: %d passed, want 10", passed)
	}
	for i := range 5 {
		v := l.Rescue("a", noon)
		if want := fmt.Sprintf(`"rescue";r=%d;t=12`, 4-i); !v.Passes || v.Left != want || v.Policy != `"rescue";q=5;w=60` {
			t.Errorf("rescue read %d: got %+v, want left %s", i, v, want)
		}
	}
	if v := l.Rescue("a", noon); v.Passes || v.Seconds() != 12 {
		t.Errorf("beyond the reserve: got %+v, want to be told 12 s", v)
	}
	if v := l.Rescue("b", noon); !v.Passes {
		t.Errorf("another key's reserve: got %+v", v)
	}
	if v := l.Emergency("school", noon); !v.Passes || v.Policy != `"emergency";q=2;w=60` {
		t.Errorf("an emergency: got %+v", v)
	}
}

func TestNoLimit(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{})
	if passed, last := passes(l, "a", "school", 10_000, noon); passed != 10_000 || last.Policy != "" || last.Left != "" {
		t.Errorf("%d passed, then %+v", passed, last)
	}
	if l.Kept() != 0 {
		t.Errorf("%d buckets are kept, want none", l.Kept())
	}
}

func TestMemoryIsBounded(t *testing.T) {
	t.Parallel()
	l := limit.NewSmall(limit.Config{Key: 60, Organisation: 60}, 100)
	for i := range 1000 {
		l.Ordinary(fmt.Sprint(i), "school", noon)
	}
	if got := l.Kept(); got > 100 {
		t.Errorf("%d buckets are kept, want 100 at most", got)
	}
	if v := l.Ordinary("more", "school", noon); v.Passes {
		t.Error("the organisation's bucket was forgotten, though it was in use")
	}
	for range 100 {
		l.Ordinary("one", "charter", noon.Add(time.Hour))
	}
	if got := l.Kept(); got > 4 {
		t.Errorf("an hour later %d buckets are kept, want those of one caller", got)
	}
}

func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{Key: 100, Organisation: 250, Rescue: 10})
	var passed atomic.Int64
	var all sync.WaitGroup
	for i := range 400 {
		all.Go(func() {
			if l.Ordinary(fmt.Sprint(i%4), "school", noon).Passes {
				passed.Add(1)
			}
		})
	}
	all.Wait()
	if passed.Load() != 250 {
		t.Errorf("%d passed, want 250", passed.Load())
	}
}

func TestClockGoesBack(t *testing.T) {
	t.Parallel()
	l := limit.New(limit.Config{Key: 5})
	passes(l, "a", "school", 5, noon)
	if v := l.Ordinary("a", "school", noon.Add(-time.Hour)); v.Passes || v.RetryAfter <= 0 {
		t.Errorf("an hour earlier: got %+v, want to be refused", v)
	}
}
