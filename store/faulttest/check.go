package faulttest

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Result is a row of the table.
type Result struct {
	Fault                                string
	Tried, Acknowledged, Lost, Duplicate int
	Slowest                              time.Duration // answer
	Took                                 time.Duration // with the control
	Wrongs                               []string      // what else was found; nothing is good
	Control                              string        // what the control found; "" was not run
}

// Sound tells whether nothing was found.
func (r Result) Sound() bool { return r.Lost == 0 && r.Duplicate == 0 && len(r.Wrongs) == 0 }

// most is how many of a kind of finding are told.
const most = 5

// check holds the journal against what is there.
func (w *World) check(ctx context.Context) (r Result, err error) {
	// What clients were told counts; all the same every op is asked again, so that each must be there once.
	w.journal.mu.Lock()
	r.Slowest = w.journal.slowest
	w.journal.mu.Unlock()
	r.Tried, r.Acknowledged = w.journal.count()
	if err := w.settle(ctx); err != nil {
		w.wrong("%v", err)
	}
	sleep(ctx, time.Second) // the streams catch up
	if w.watch != nil {
		w.catchUp(ctx)
		w.watch.stop()
	}
	kept, err := w.readKept(ctx)
	if err != nil {
		return r, err
	}
	for _, check := range []func(context.Context, *holdings, *Result){w.checkRows, w.checkLog, w.checkStreams, w.checkWalls, w.checkReplays, w.checkReadings} {
		check(ctx, kept, &r)
	}
	w.checkVerify(ctx)
	w.checkReadyz()
	w.mu.Lock()
	defer w.mu.Unlock()
	r.Wrongs = append(r.Wrongs, w.wrongs...)
	return r, nil
}

// holdings is what the database holds, read beside the service as the superuser.
type holdings struct {
	rows    map[string][]row // by what was written into the body
	changes map[uuid.UUID][]change
	orgs    []uuid.UUID // of the parties
	ends    map[uuid.UUID]int64
}

type row struct {
	org  uuid.UUID
	id   uuid.UUID
	body []byte
}

type change struct {
	seq     int64
	kind    string
	id      uuid.UUID
	version int
	held    bool // its thing is there
}

const (
	selectMarked = `
SELECT org_id, id, coalesce(body->>'what_happened', body->>'label', body->>'name', ''), convert_to(body::text, 'UTF8')
FROM records
WHERE version = 1 AND kind IN ('incident', 'vessel', 'key')
UNION ALL
SELECT org_id, id, vessel_name, convert_to(answer::text, 'UTF8')
FROM plans`
	selectChanges = `
SELECT c.org_id, c.seq, c.kind, c.entity_id, c.version,
    EXISTS (SELECT FROM records r WHERE r.org_id = c.org_id AND r.seq = c.seq AND r.id = c.entity_id AND r.version = c.version AND r.body_sha256 = c.body_sha256)
        OR c.kind = 'webhook' -- of which versions are noted and not kept
        OR EXISTS (SELECT FROM plans p WHERE c.kind = 'plan' AND p.org_id = c.org_id AND p.id = c.entity_id)
FROM changes c
ORDER BY c.org_id, c.seq`
)

func (w *World) readKept(ctx context.Context) (*holdings, error) {
	conn, err := w.postgres.connect(ctx)
	if err != nil {
		return nil, err
	}
	defer conn.Close(ctx)
	k := &holdings{rows: map[string][]row{}, changes: map[uuid.UUID][]change{}, ends: map[uuid.UUID]int64{}}
	for _, p := range w.parties {
		var org uuid.UUID
		if err := conn.QueryRow(ctx, `SELECT id FROM organisations WHERE name = $1`, p.name).Scan(&org); err != nil {
			return nil, err
		}
		var end int64
		if err := conn.QueryRow(ctx, `SELECT seq FROM organisation_log WHERE org_id = $1`, org).Scan(&end); err != nil {
			return nil, err
		}
		k.orgs, k.ends[org] = append(k.orgs, org), end
	}
	rows, err := conn.Query(ctx, selectMarked)
	if err != nil {
		return nil, err
	}
	for rows.Next() {
		var r row
		var mark string
		if err := rows.Scan(&r.org, &r.id, &mark, &r.body); err != nil {
			return nil, err
		}
		k.rows[mark] = append(k.rows[mark], r)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	if rows, err = conn.Query(ctx, selectChanges); err != nil {
		return nil, err
	}
	for rows.Next() {
		var c change
		var org uuid.UUID
		if err := rows.Scan(&org, &c.seq, &c.kind, &c.id, &c.version, &c.held); err != nil {
			return nil, err
		}
		k.changes[org] = append(k.changes[org], c)
	}
	return k, rows.Err()
}

// checkRows: what was acknowledged is there and equal, once, and in its own organisation.
func (w *World) checkRows(ctx context.Context, k *holdings, r *Result) {
	for _, o := range w.journal.all() {
		there := k.rows[o.Key]
		if len(there) > 1 {
			r.Duplicate += len(there) - 1
		}
		same := false
		for _, found := range there {
			if found.org != k.orgs[o.Party] {
				w.wrong("%s is in another organisation", o.Key)
			}
			// The answer that makes a key shows the key, which is not kept.
			same = same || strings.HasSuffix(o.Location, found.id.String()) && (o.Kind == "key" || bytes.Equal(found.body, o.answer))
		}
		if o.Acknowledged && !same {
			r.Lost++
		}
	}
}

// checkLog: numbers have no gaps, and each change has what it tells of.
func (w *World) checkLog(ctx context.Context, k *holdings, r *Result) {
	for number, org := range k.orgs {
		changes := k.changes[org]
		if int64(len(changes)) != k.ends[org] {
			w.wrong("%s has %d changes and counts %d", w.parties[number].mark, len(changes), k.ends[org])
		}
		told := map[uuid.UUID]bool{}
		for i, c := range changes {
			told[c.id] = true
			if c.seq != int64(i+1) {
				w.wrong("%s: change %d stands at place %d", w.parties[number].mark, c.seq, i+1)
				break
			}
			if !c.held {
				w.wrong("%s: change %d tells of a %s that is not there as it was", w.parties[number].mark, c.seq, c.kind)
			}
		}
		for mark, rows := range k.rows {
			for _, row := range rows {
				if row.org == org && !told[row.id] {
					w.wrong("%s: no change tells of %s", w.parties[number].mark, mark)
				}
			}
		}
	}
}

// catchUp waits until the streams have told of all there is, or for a while.
func (w *World) catchUp(ctx context.Context) {
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); sleep(ctx, 200*time.Millisecond) {
		behind := false
		k, err := w.readKept(ctx)
		if err != nil {
			return
		}
		for number, org := range k.orgs {
			p := w.parties[number]
			p.mu.Lock()
			behind = behind || int64(len(p.seen)) < k.ends[org]
			p.mu.Unlock()
		}
		if !behind {
			return
		}
	}
}

// checkStreams: every change was told at least once, and nothing that there is not.
func (w *World) checkStreams(ctx context.Context, k *holdings, r *Result) {
	for number, org := range k.orgs {
		p := w.parties[number]
		p.mu.Lock()
		missing, more, other := 0, 0, 0
		for seq := int64(1); seq <= k.ends[org]; seq++ {
			if _, seen := p.seen[seq]; !seen {
				missing++
			}
		}
		for seq, told := range p.seen {
			switch there := k.changes[org]; {
			case seq > int64(len(there)):
				more++
			case there[seq-1].id != told.Data.EntityID || there[seq-1].version != told.Data.Version: // taken back, and its number given anew
				other++
			}
		}
		p.mu.Unlock()
		if p.seen != nil && missing > 0 {
			w.wrong("%s: the stream did not tell of %d of %d changes", p.mark, missing, k.ends[org])
		}
		if more+other > 0 {
			w.wrong("%s: the stream told of %d changes that there are not, and of %d that are others", p.mark, more, other)
		}
	}
}

// sample takes so many of the acknowledged ops, spread over all.
func (w *World) sample(n int) (picked []*op) {
	all := w.journal.all()
	for i := 0; i < len(all); i += max(1, len(all)/n) {
		if all[i].Acknowledged {
			picked = append(picked, all[i])
		}
	}
	return picked
}

// checkWalls: another organisation finds nothing of what is not its own.
func (w *World) checkWalls(ctx context.Context, k *holdings, r *Result) {
	client := w.client()
	for _, o := range w.sample(20) {
		other := (o.Party + 1) % len(w.parties)
		if status, _, _ := w.send(client, other, http.MethodGet, o.Location, ""); status != http.StatusNotFound {
			w.wrong("%s asked for %s of another organisation and was answered %d", w.parties[other].mark, o.Location, status)
		}
	}
}

// checkReplays: asking again gives the first answer.
func (w *World) checkReplays(ctx context.Context, k *holdings, r *Result) {
	client, found := w.client(), 0
	for _, o := range w.sample(100) {
		status, header, body := w.send(client, o.Party, o.Method, o.Path, o.Body, "Idempotency-Key", o.Key)
		same := status == http.StatusCreated && header.Get("Idempotency-Replayed") == "true" && header.Get("Location") == o.Location
		if !same || o.Kind != "key" && !bytes.Equal(body, o.answer) {
			if found++; found <= most {
				w.wrong("a repeat of %s was answered %d, %s, replayed %q: not as the first time", o.Key, status, header.Get("Location"), header.Get("Idempotency-Replayed"))
			}
		}
	}
}

// checkReadings: the same question has the same answer later, and what was acknowledged can be read.
func (w *World) checkReadings(ctx context.Context, k *holdings, r *Result) {
	client, found := w.client(), 0
	w.journal.mu.Lock()
	readings := w.journal.readings
	w.journal.mu.Unlock()
	for i := 0; i < len(readings); i += max(1, len(readings)/150) {
		status, _, body := w.send(client, readings[i].party, http.MethodGet, readings[i].path, "")
		if status != http.StatusOK || !bytes.Equal(body, readings[i].body) {
			if found++; found <= most {
				w.wrong("GET %s was answered otherwise than before: %d", readings[i].path, status)
			}
		}
	}
	for _, o := range w.sample(150) {
		if status, _, _ := w.send(client, o.Party, http.MethodGet, o.Location, ""); status != http.StatusOK {
			if found++; found <= most {
				w.wrong("%s was acknowledged and GET %s is answered %d", o.Key, o.Location, status)
			}
		}
	}
}

// checkVerify: the log verifies, by the program that auditors use.
func (w *World) checkVerify(ctx context.Context) {
	for _, p := range w.parties {
		if _, err := w.house.run(ctx, p.key, "verify", "--server", "http://"+w.house.addr); err != nil {
			w.wrong("%s: %v", p.mark, err)
		}
	}
}

// checkReadyz: it says no while the database cannot be reached, and yes when all is well again.
func (w *World) checkReadyz() {
	if w.watch == nil {
		return
	}
	lies := 0
	for _, l := range w.watch.looks {
		for _, down := range w.watch.downs {
			if l.status == http.StatusOK && l.at.After(down.from.Add(grace)) && l.at.Before(down.to) {
				lies++
			}
		}
	}
	if lies > 0 {
		w.wrong("/readyz said yes %d times while the database could not be reached", lies)
	}
	if n := len(w.watch.looks); n > 0 && w.watch.looks[n-1].status != http.StatusOK {
		w.wrong("/readyz says %d at the end, when all is well", w.watch.looks[n-1].status)
	}
}

// baseline is what a service that does nothing holds.
type baseline struct{ files, connections int }

const countConnections = `
SELECT count(*)
FROM pg_stat_activity
WHERE application_name LIKE 'rideout%'`

func (w *World) holds(ctx context.Context) (b baseline, err error) {
	conn, err := w.postgres.connect(ctx)
	if err != nil {
		return b, err
	}
	defer conn.Close(ctx)
	b.files = w.house.files()
	return b, conn.QueryRow(ctx, countConnections).Scan(&b.connections)
}

// Beside the pool's, 4 of the queue, one it listens on, and one for the streams; slack is for what comes and goes by itself.
const (
	queueConnections = 6
	slack            = 12
)

// checkHolds: files, connections and goroutines are as before. It ends the service.
func (w *World) checkHolds(ctx context.Context, before baseline, pool int) {
	var now baseline
	var err error
	within := func() bool {
		return now.files <= before.files+pool+queueConnections+slack && now.connections <= pool+queueConnections
	}
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); sleep(ctx, 500*time.Millisecond) {
		if now, err = w.holds(ctx); err == nil && within() {
			break
		}
	}
	if err != nil {
		w.wrong("what the service holds: %v", err)
	}
	if !within() {
		w.wrong("the service holds %d files and %d connections, before the load %d and %d", now.files, now.connections, before.files, before.connections)
	}
	count, _ := w.house.goroutines()
	w.say("holds %d files, %d connections, %d goroutines", now.files, now.connections, count)
	// A service at rest: the pools' keepers, the queue's and the listener's; each open connection of a client is one or two more.
	if count == 0 || count > mostGoroutines+2*pool {
		w.wrong("the service has %d goroutines at rest, want 1 to %d", count, mostGoroutines+2*pool)
	}
}

// mostGoroutines is above what a service without requests was seen to have, about 60.
const mostGoroutines = 100
