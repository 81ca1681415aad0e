package faulttest

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"slices"
	"sync"
	"time"
)

// op is one thing a client wants done, once, however often it must ask.
type op struct {
	Key    string `json:"key"` // the Idempotency-Key, and what is written into the body to be found by
	Party  int    `json:"party"`
	Kind   string `json:"kind"`
	Method string `json:"method"`
	Path   string `json:"path"`
	Body   string `json:"body"`

	Acknowledged bool   `json:"acknowledged"`
	Location     string `json:"location,omitempty"`
	SHA256       string `json:"sha256,omitempty"` // of the answer
	answer       []byte
	etag         string
}

// reading is an answer as of two times, which must stay.
type reading struct {
	party int
	path  string
	body  []byte
}

// journal is what clients know for sure: it is on the disk before anything is sent, and again when an answer is in. It is safe for concurrent use.
type journal struct {
	mu       sync.Mutex
	file     *os.File
	ops      []*op
	readings []reading
	slowest  time.Duration // answer
	attempts int
	cut      int // requests that were taken and not answered
	statuses map[int]int
	lastCut  error
}

func newJournal(path string) (*journal, error) {
	file, err := os.Create(path)
	return &journal{file: file, statuses: map[int]int{}}, err
}

func (j *journal) close() { j.file.Close() }

type journalLine struct {
	Time  time.Time `json:"time"`
	Phase string    `json:"phase"`
	*op
}

func (j *journal) write(phase string, o *op) error {
	text, err := json.Marshal(journalLine{time.Now(), phase, o})
	if err != nil {
		return err
	}
	if _, err := j.file.Write(append(text, '\n')); err != nil {
		return err
	}
	return j.file.Sync()
}

// sending notes an op before it is sent for the first time.
func (j *journal) sending(o *op) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.ops = append(j.ops, o)
	return j.write("sent", o)
}

// acknowledged notes an op that was answered as done.
func (j *journal) acknowledged(o *op, location, etag string, answer []byte) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	sum := sha256.Sum256(answer)
	o.Acknowledged, o.Location, o.SHA256, o.answer, o.etag = true, location, hex.EncodeToString(sum[:]), answer, etag
	return j.write("answered", o)
}

func (j *journal) read(r reading) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.readings = append(j.readings, r)
}

// attempt counts a try and how long it took; status 0 is no answer.
func (j *journal) attempt(status int, took time.Duration, cut bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.attempts++
	j.statuses[status]++
	j.slowest = max(j.slowest, took)
	if cut {
		j.cut++
	}
}

// cutBy notes how a request was cut.
func (j *journal) cutBy(err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.lastCut = err
}

// all gives the ops so far.
func (j *journal) all() []*op {
	j.mu.Lock()
	defer j.mu.Unlock()
	return slices.Clone(j.ops)
}

func (j *journal) count() (tried, acknowledged int) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, o := range j.ops {
		if o.Acknowledged {
			acknowledged++
		}
	}
	return len(j.ops), acknowledged
}
