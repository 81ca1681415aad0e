package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
	"rideout/service/fleet"
)

// claimLife is how long a claim stands; after it the key may be used anew.
const claimLife = 7 * 24 * time.Hour

// Once does work at most once for a claim, as service.History says. The work runs within the
// transaction but holds no row: only the claim's advisory lock, which others try and do not wait for.
func (s *Store) Once(ctx context.Context, org service.OrgID, claim service.Claim, work func(context.Context, service.Recorder) (service.Answer, error)) (service.Answer, bool, error) {
	var answer service.Answer
	var repeated bool
	err := s.inOrg(ctx, org, pgx.ReadWrite, func(tx *transaction) error {
		var err error
		r := newRecorder(tx, org)
		if answer, repeated, err = r.earlier(ctx, claim); err != nil || repeated {
			return err
		}
		if answer, err = work(ctx, r); err != nil {
			return err
		}
		r.keep(claim, answer)
		return nil
	})
	if repeated { // nothing was changed, so however the transaction ended the answer stands
		return answer, true, nil
	}
	if err != nil {
		return service.Answer{}, false, fmt.Errorf("once: %w", err)
	}
	return answer, false, nil
}

// earlier takes a claim's lock, and gives the answer of one that was answered. With it comes how far the log is known, which
// most work asks for first. Each statement sees what was there when the one before it had ended.
func (r *recorder) earlier(ctx context.Context, claim service.Claim) (answer service.Answer, repeated bool, err error) {
	var got bool
	var row claimRow
	batch := &pgx.Batch{}
	batch.Queue(tryClaimLock, r.org.String(), claim.Key).QueryRow(func(row pgx.Row) error { return row.Scan(&got) })
	batch.Queue(selectClaim, pgx.NamedArgs{"org": r.org, "key": claim.Key, "life": claimLife}).Query(row.read)
	batch.Queue(selectKnownUntil, r.org).QueryRow(func(row pgx.Row) error { return row.Scan(&r.until) })
	if err := r.tx.SendBatch(ctx, batch).Close(); err != nil {
		return answer, false, found(ctx, err)
	}
	switch {
	case !got:
		return answer, false, service.ErrInFlight
	case !row.there:
		return answer, false, nil
	case row.claim != claim:
		return answer, false, service.ErrKeyReused
	}
	return row.answer, true, nil
}

// The lock holds until the transaction's end. Two claims whose hashes agree would at worst take turns.
const tryClaimLock = `
SELECT pg_try_advisory_xact_lock(hashtextextended($1::text || ' ' || $2, 0))`

// claimRow is not there for a key that is new or whose claim has run out.
type claimRow struct {
	there  bool
	claim  service.Claim
	answer service.Answer
}

const selectClaim = `
SELECT c.key, c.route, c.request_sha256, c.plan_id, coalesce(c.answer, convert_to(p.answer::text, 'UTF8'))
FROM idempotency_claims c
LEFT JOIN plans p ON p.org_id = c.org_id AND p.id = c.plan_id
WHERE c.org_id = @org AND c.key = @key AND c.created_at > now() - @life::interval`

func (c *claimRow) read(rows pgx.Rows) error {
	var plan uuid.NullUUID
	into := []any{&c.claim.Key, &c.claim.Route, &c.claim.RequestSHA256, &plan, &c.answer.Body}
	_, err := pgx.ForEachRow(rows, into, func() error { c.there = true; return nil })
	c.answer.PlanID = plan.UUID
	return err
}

const insertPlan = `
INSERT INTO plans (org_id, id, created_at, vessel_name, intent, engine, input_sha256,
    peak_low_n, peak_mid_n, peak_high_n, pay_out_m, vessel_id, supersedes, inputs, answer, working)
VALUES (@org, @id, @created_at, @vessel_name, @intent, @engine, @input_sha256,
    @peak_low_n, @peak_mid_n, @peak_high_n, @pay_out_m, @vessel_id, @supersedes, @inputs, @answer, @working)`

// RecordPlan records a plan and notes the change. Its time must be whole microseconds, which is what is kept.
func (r *recorder) RecordPlan(ctx context.Context, p service.PlanRecord) error {
	if at := p.CreatedAt; !at.Equal(at.Truncate(time.Microsecond)) {
		return fmt.Errorf("record plan: created at %v, finer than a microsecond", at)
	}
	if r.stamp.Seq == 0 {
		if _, err := r.Turn(ctx, func() time.Time { return p.CreatedAt }); err != nil {
			return fmt.Errorf("record plan: %w", err)
		}
	}
	sum := sha256.Sum256(p.Answer)
	if err := r.note(ctx, fleet.KindPlan, p.ID, 1, hex.EncodeToString(sum[:]), p.By); err != nil {
		return fmt.Errorf("record plan: %w", err)
	}
	r.tx.queue(insertPlan, pgx.NamedArgs{
		"org": r.org, "id": p.ID, "created_at": p.CreatedAt, "vessel_name": p.VesselName, "intent": p.Intent,
		"engine": p.Engine, "input_sha256": p.InputSHA256, "peak_low_n": p.PeakN.Low, "peak_mid_n": p.PeakN.Mid,
		"peak_high_n": p.PeakN.High, "pay_out_m": p.PayOutM,
		"vessel_id": orNull(p.VesselID), "supersedes": orNull(p.Supersedes), "inputs": p.Inputs, "answer": p.Answer, "working": p.Working,
	})
	r.recordFacts(p)
	r.recordWaters(p)
	r.recorded = append(r.recorded, p)
	return nil
}

const upsertClaim = `
INSERT INTO idempotency_claims (org_id, key, route, request_sha256, plan_id, answer)
VALUES (@org, @key, @route, @request_sha256, @plan_id, @answer)
ON CONFLICT (org_id, key) DO UPDATE
SET route          = excluded.route,
    request_sha256 = excluded.request_sha256,
    plan_id        = excluded.plan_id,
    answer         = excluded.answer,
    created_at     = excluded.created_at`

// Each claim that is kept takes away a few that have run out: no more than a new one costs, and nothing else need run.
// What another transaction holds is left to the next.
const sweepClaims = `
DELETE
FROM idempotency_claims
WHERE org_id = @org AND key IN (
    SELECT key
    FROM idempotency_claims
    WHERE org_id = @org AND created_at <= now() - @life::interval
    ORDER BY created_at
    LIMIT 10
    FOR UPDATE SKIP LOCKED)`

// keep keeps a claim, in the place of one that has run out. An answer that is the plan's is not kept twice.
func (r *recorder) keep(claim service.Claim, answer service.Answer) {
	args := pgx.NamedArgs{
		"org": r.org, "key": claim.Key, "route": claim.Route, "request_sha256": claim.RequestSHA256,
		"plan_id": orNull(answer.PlanID), "answer": answer.Body,
	}
	for _, p := range r.recorded {
		if p.ID == answer.PlanID && string(p.Answer) == string(answer.Body) {
			args["answer"] = nil
		}
	}
	r.tx.queue(upsertClaim, args)
	r.tx.queue(sweepClaims, pgx.NamedArgs{"org": r.org, "life": claimLife})
}
