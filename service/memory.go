package service

import (
	"container/list"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"rideout/service/planner"
)

// mostRemembered bounds the calculations kept in memory; one for three days by the hour takes some 0.3 MB.
const mostRemembered = 128

// errForgotten says that a calculation is not in memory, so that it must wait for its place to be made.
var errForgotten = errors.New("the calculation is not in memory")

// calculation is what the planner made of a request. It is shared by all who ask for it: nobody changes what it points to.
type calculation struct {
	plan    planner.Plan
	working []byte // JSON of []planner.WorkingStep
}

// calculationName names a calculation by all it depends on. That is the inputs and the engine; the organisation is there
// because by the time of an answer one could else find out what another has planned.
type calculationName struct {
	org    OrgID
	inputs [sha256.Size]byte
	engine string
}

// orderName names an order as it came, before the book was asked.
type orderName struct {
	org   OrgID
	order [sha256.Size]byte
}

// memory remembers the calculations made last, and which orders came to them. It can only save time: what an order
// comes to is found out from the book each time. The zero value is ready; it is safe for concurrent use.
type memory struct {
	calculations recent[calculationName, calculation]
	orders       recent[orderName, calculationName]
}

// expects tells whether an order came lately to a calculation that is remembered.
func (m *memory) expects(o orderName) bool {
	name, ok := m.orders.get(o)
	if ok {
		_, ok = m.calculations.get(name)
	}
	return ok
}

func nameOrder(org OrgID, o PlanOrder) (orderName, error) {
	o.By = ""
	text, err := json.Marshal(o)
	if err != nil {
		return orderName{}, fmt.Errorf("encode order: %w", err)
	}
	return orderName{org, sha256.Sum256(text)}, nil
}

// recent keeps the mostRemembered values used last.
type recent[K comparable, V any] struct {
	mu   sync.Mutex
	at   map[K]*list.Element // of entry[K, V]
	used list.List           // the last used first
}

type entry[K comparable, V any] struct {
	key   K
	value V
}

func (r *recent[K, V]) get(key K) (value V, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	e, ok := r.at[key]
	if !ok {
		return value, false
	}
	r.used.MoveToFront(e)
	return e.Value.(entry[K, V]).value, true
}

func (r *recent[K, V]) put(key K, value V) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.at == nil {
		r.at = map[K]*list.Element{}
	}
	if e, ok := r.at[key]; ok {
		e.Value = entry[K, V]{key, value}
		r.used.MoveToFront(e)
		return
	}
	r.at[key] = r.used.PushFront(entry[K, V]{key, value})
	if r.used.Len() > mostRemembered {
		oldest := r.used.Back()
		delete(r.at, r.used.Remove(oldest).(entry[K, V]).key)
	}
}
