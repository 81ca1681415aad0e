package store

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// fleetPlans are an organisation's plans that answer for a design storm, by vessel, and when each was superseded. No plan
// is changed, so it never grows old: a question reads the plans made since the last one.
type fleetPlans struct {
	windKt, hsM float64

	upTo   int64  // the last change that was looked at; 0: none was
	upToIs string // its hash, by which a database put back to an earlier time is told

	of map[uuid.UUID][]reachingPlan // in the order they were made; no entry: hers have not been read
}

// reachingPlan is one, with times in µs.
type reachingPlan struct {
	id         uuid.UUID
	made       int64
	superseded int64 // 0: it stands
}

func newFleetPlans(windKt, hsM float64) *fleetPlans {
	return &fleetPlans{windKt: windKt, hsM: hsM, of: map[uuid.UUID][]reachingPlan{}}
}

// mostBehind is how many changes are made up for. More are read anew.
const mostBehind = 20_000

const (
	selectLastChange = `
SELECT seq, body_sha256
FROM changes
WHERE org_id = $1
ORDER BY seq DESC
LIMIT 1`
	// LIMIT keeps each plan looked up by itself, however many changes the planner expects.
	selectPlansSince = `
SELECT c.seq, c.body_sha256, p.id, p.created_at, p.vessel_id, p.supersedes, p.vessel_superseded,
    coalesce(p.intent = @storm AND p.wind_speed_kt >= @wind_kt AND p.hs_m >= @hs_m, false)
FROM changes c
LEFT JOIN LATERAL (
    SELECT p.id, p.created_at, p.vessel_id, p.intent, p.supersedes, f.wind_speed_kt, f.hs_m,
        (SELECT vessel_id FROM plans WHERE org_id = @org AND id = p.supersedes) AS vessel_superseded
    FROM plans p
    LEFT JOIN plan_facts f ON f.org_id = @org AND f.plan_id = p.id
    WHERE p.org_id = @org AND p.id = c.entity_id
    LIMIT 1
) p ON c.kind = 'plan'
WHERE c.org_id = @org AND c.seq >= @from
ORDER BY c.seq
LIMIT @most`
	selectPlansThatReach = `
SELECT f.vessel_id, f.plan_id, f.made_at, (SELECT min(created_at) FROM plans WHERE org_id = @org AND supersedes = f.plan_id)
FROM unnest(@vessels::uuid[]) AS v (id)
CROSS JOIN LATERAL (
    SELECT vessel_id, plan_id, made_at
    FROM plan_facts f
    WHERE org_id = @org AND vessel_id = v.id AND intent = @storm AND ` + reachesStorm + `
) f`
)

func (p *fleetPlans) args(org service.OrgID) pgx.NamedArgs {
	return pgx.NamedArgs{"org": org, "storm": planner.RideOutStorm, "wind_kt": p.windKt, "hs_m": p.hsM}
}

// catchUp adds the plans made since. It returns errAnotherHistory where the last change is not the one that was looked at.
func (p *fleetPlans) catchUp(ctx context.Context, tx pgx.Tx, org service.OrgID) error {
	if p.upTo == 0 {
		return found(ctx, tx.QueryRow(ctx, selectLastChange, org).Scan(&p.upTo, &p.upToIs))
	}
	args, rowsRead := p.args(org), 0
	args["from"], args["most"] = p.upTo, mostBehind
	err := eachRow(ctx, tx, selectPlansSince, args, func(rows pgx.Rows) error {
		rowsRead++
		var seq int64
		var sha256 string
		var id, vessel, superseded, herVessel uuid.NullUUID
		var made *time.Time
		var reaches bool
		if err := rows.Scan(&seq, &sha256, &id, &made, &vessel, &superseded, &herVessel, &reaches); err != nil {
			return err
		}
		if rowsRead == 1 {
			if seq != p.upTo || sha256 != p.upToIs {
				return errAnotherHistory
			}
			return nil
		}
		if superseded.Valid {
			p.supersede(herVessel.UUID, superseded.UUID, made.UnixMicro())
		}
		if reaches {
			p.add(vessel.UUID, reachingPlan{id: id.UUID, made: made.UnixMicro()})
		}
		p.upTo, p.upToIs = seq, sha256
		return nil
	})
	if err == nil && (rowsRead == 0 || rowsRead == mostBehind) {
		return errAnotherHistory
	}
	return err
}

// add adds a plan to those of a vessel, if hers have been read, and once.
func (p *fleetPlans) add(vessel uuid.UUID, plan reachingPlan) {
	hers, read := p.of[vessel]
	if !read {
		return
	}
	at, there := slices.BinarySearchFunc(hers, plan, reachingPlan.compare)
	if !there {
		p.of[vessel] = slices.Insert(hers, at, plan)
	}
}

func (s reachingPlan) compare(other reachingPlan) int {
	return cmp.Or(cmp.Compare(s.made, other.made), bytes.Compare(s.id[:], other.id[:]))
}

func (p *fleetPlans) supersede(vessel, plan uuid.UUID, at int64) {
	hers := p.of[vessel]
	i := slices.IndexFunc(hers, func(s reachingPlan) bool { return s.id == plan })
	if i >= 0 && (hers[i].superseded == 0 || at < hers[i].superseded) {
		hers[i].superseded = at
	}
}

// vesselsAtOnce is of how many vessels the plans are read by one statement, so that none takes long; what was read is kept
// whatever becomes of the next.
const vesselsAtOnce = 200

// know reads the plans of vessels of whom none have been read.
func (p *fleetPlans) know(ctx context.Context, tx pgx.Tx, org service.OrgID, states []readiness.State) error {
	var unknown []uuid.UUID
	for i := range states {
		if _, read := p.of[states[i].ID]; !read {
			unknown = append(unknown, states[i].ID)
		}
	}
	for some := range slices.Chunk(unknown, vesselsAtOnce) {
		read := map[uuid.UUID][]reachingPlan{}
		args := p.args(org)
		args["vessels"] = some
		err := eachRow(ctx, tx, selectPlansThatReach, args, func(rows pgx.Rows) error {
			var vessel, plan uuid.UUID
			var made time.Time
			var superseded *time.Time
			if err := rows.Scan(bytesOf(&vessel), bytesOf(&plan), &made, &superseded); err != nil {
				return err
			}
			s := reachingPlan{id: plan, made: made.UnixMicro()}
			if superseded != nil {
				s.superseded = superseded.UnixMicro()
			}
			read[vessel] = append(read[vessel], s)
			return nil
		})
		if err != nil {
			return err
		}
		for _, vessel := range some {
			slices.SortFunc(read[vessel], reachingPlan.compare)
			p.of[vessel] = read[vessel]
		}
	}
	return nil
}

// standing gives the newest plan of a vessel made by a time that none had taken the place of by then.
func (p *fleetPlans) standing(vessel uuid.UUID, at int64) (plan uuid.UUID, there bool) {
	for _, s := range slices.Backward(p.of[vessel]) {
		if s.made <= at && (s.superseded == 0 || s.superseded > at) {
			return s.id, true
		}
	}
	return plan, false
}

// size is how many plans it holds.
func (p *fleetPlans) size() (n int) {
	for _, hers := range p.of {
		n += len(hers)
	}
	return n
}

const selectFacts = `
SELECT ` + factColumns + `, NULL::timestamptz
FROM plan_facts f
WHERE f.org_id = @org AND f.plan_id = ANY(@plans)`

// mostFactsKept is of how many plans a book keeps what the rules look at, some 25 MB.
const mostFactsKept = 100_000

// giveChosen gives each vessel the plan that is standing, or else the one there is for a storm. What was read of a plan is
// kept, because the next question is mostly about the same ones.
func (b *fleetBook) giveChosen(ctx context.Context, tx pgx.Tx, org service.OrgID, f *fleetAssembly, plans *fleetPlans, at service.AsOf) error {
	when := momentOf(at)
	chosen, without, unread := map[uuid.UUID]uuid.UUID{}, []uuid.UUID{}, []uuid.UUID{}
	for i := range f.states {
		vessel := f.states[i].ID
		plan, there := plans.standing(vessel, min(when.valid, when.known))
		switch {
		case !there:
			without = append(without, vessel)
			continue
		case b.facts[plan] == nil:
			unread = append(unread, plan)
		}
		chosen[vessel] = plan
	}
	if len(b.facts)+len(unread) > mostFactsKept {
		b.facts = map[uuid.UUID]*readiness.Plan{}
		unread = unread[:0]
		for _, plan := range chosen {
			unread = append(unread, plan)
		}
	}
	args := plans.args(org)
	args["plans"], args["vessels"], args["valid_at"], args["known_at"] = unread, without, at.ValidAt, at.KnownAt
	if len(unread) > 0 {
		err := eachRow(ctx, tx, selectFacts, args, func(rows pgx.Rows) error {
			_, plan, err := f.readPlan(rows)
			if err == nil {
				b.facts[plan.ID] = plan
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	for i := range f.states {
		if plan, there := chosen[f.states[i].ID]; there {
			if f.states[i].Plan = b.facts[plan]; f.states[i].Plan == nil {
				return fmt.Errorf("%w: plan %s is not there", errAnotherHistory, plan)
			}
		}
	}
	if len(without) == 0 {
		return nil
	}
	return eachRow(ctx, tx, selectOtherPlans, args, func(rows pgx.Rows) error {
		vessel, plan, err := f.readPlan(rows)
		if at, there := f.vessel[vessel]; there && err == nil {
			f.states[at].Plan = plan
		}
		return err
	})
}
