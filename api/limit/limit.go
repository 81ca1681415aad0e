// Package limit holds callers to so many requests a minute, by token buckets, and tells them so in the fields of
// draft-ietf-httpapi-ratelimit-headers-11.
//
// An ordinary request takes from its key's bucket and from its organisation's. A rescue read takes from a bucket of its
// key's that nothing else takes from: a dashboard that has used up its organisation's requests takes none of them. An
// emergency access takes from a small bucket of its organisation's: more of them in a minute would be a search.
package limit

import (
	"container/list"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Window is the time in which an empty bucket is full again.
const Window = time.Minute

// mostBuckets bounds the memory. One of the others takes the place of the one longest unused.
const mostBuckets = 20_000

// Config says how many requests a Window holds; 0 is no limit.
type Config struct {
	Key          int // of one key, apart from rescue reads
	Organisation int // of all keys of an organisation, apart from rescue reads
	Rescue       int // rescue reads of one key
	Emergency    int // emergency accesses that an organisation opens
}

// Default is generous: it ends runaway programs, and no person is to meet it.
var Default = Config{Key: 1200, Organisation: 6000, Rescue: 600, Emergency: 30}

// Limiter keeps the buckets of all callers. It is safe for concurrent use.
type Limiter struct {
	config Config
	most   int

	mu      sync.Mutex
	buckets map[name]*list.Element // of *bucket
	used    list.List              // the last used first
}

// name names a bucket: what it is for, and whose it is.
type name struct{ policy, owner string }

type bucket struct {
	name    name
	size    int
	limiter *rate.Limiter
}

// New makes a limiter whose buckets are all full.
func New(c Config) *Limiter {
	return &Limiter{config: c, most: mostBuckets, buckets: map[name]*list.Element{}}
}

// Verdict says whether a request may pass, and what its answer is to tell.
type Verdict struct {
	Passes     bool
	Policy     string        // the field RateLimit-Policy; empty: there is no limit
	Left       string        // the field RateLimit
	RetryAfter time.Duration // until it would pass; 0 if it does
}

// Ordinary counts a request of a key of an organisation.
func (l *Limiter) Ordinary(key, organisation string, now time.Time) Verdict {
	return l.take(now, wanted{name{"key", key}, l.config.Key}, wanted{name{"organisation", organisation}, l.config.Organisation})
}

// Rescue counts a rescue read of a key.
func (l *Limiter) Rescue(key string, now time.Time) Verdict {
	return l.take(now, wanted{name{"rescue", key}, l.config.Rescue})
}

// Emergency counts an emergency access that an organisation opens.
func (l *Limiter) Emergency(organisation string, now time.Time) Verdict {
	return l.take(now, wanted{name{"emergency", organisation}, l.config.Emergency})
}

type wanted struct {
	name name
	size int
}

// take takes one token from each bucket, or from none when one of them is empty.
func (l *Limiter) take(now time.Time, all ...wanted) Verdict {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.forget(now)
	v := Verdict{Passes: true}
	var from []*bucket
	for _, w := range all {
		if w.size <= 0 {
			continue
		}
		b := l.bucket(w)
		from = append(from, b)
		if missing := 1 - b.limiter.TokensAt(now); missing > 0 {
			v.Passes = false
			v.RetryAfter = max(v.RetryAfter, b.toFill(missing))
		}
	}
	var policies, left []string
	for _, b := range from {
		if v.Passes {
			b.limiter.AllowN(now, 1)
		}
		tokens := b.limiter.TokensAt(now)
		policies = append(policies, fmt.Sprintf(`%q;q=%d;w=%d`, b.name.policy, b.size, int(Window.Seconds())))
		whole := math.Floor(max(0, tokens))
		// The draft's t, its 4.1.2: the time within which no more than r can be used. Here it ends with the next token.
		left = append(left, fmt.Sprintf(`%q;r=%d;t=%d`, b.name.policy, int(whole), seconds(b.toFill(whole+1-tokens))))
	}
	v.Policy, v.Left = strings.Join(policies, ", "), strings.Join(left, ", ")
	return v
}

// bucket finds a bucket or makes a full one.
func (l *Limiter) bucket(w wanted) *bucket {
	if e := l.buckets[w.name]; e != nil {
		l.used.MoveToFront(e)
		return e.Value.(*bucket)
	}
	for len(l.buckets) >= l.most {
		l.drop(l.used.Back())
	}
	b := &bucket{w.name, w.size, rate.NewLimiter(rate.Limit(float64(w.size)/Window.Seconds()), w.size)}
	l.buckets[w.name] = l.used.PushFront(b)
	return b
}

// forget drops a few of the buckets longest unused that are full again, which is what a new one would be.
func (l *Limiter) forget(now time.Time) {
	for range 4 {
		last := l.used.Back()
		if last == nil {
			return
		}
		if b := last.Value.(*bucket); b.limiter.TokensAt(now) < float64(b.size) {
			return
		}
		l.drop(last)
	}
}

func (l *Limiter) drop(e *list.Element) {
	delete(l.buckets, l.used.Remove(e).(*bucket).name)
}

// toFill is the time in which so many tokens come.
func (b *bucket) toFill(tokens float64) time.Duration {
	return time.Duration(max(0, tokens) / float64(b.limiter.Limit()) * float64(time.Second))
}

// Seconds is the delay for the field Retry-After: whole seconds, one at least.
func (v Verdict) Seconds() int { return max(1, seconds(v.RetryAfter)) }

func seconds(d time.Duration) int { return int(math.Ceil(d.Seconds())) }
