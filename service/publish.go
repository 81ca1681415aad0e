package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/physics/quantity"
	"rideout/service/planner"
	"rideout/service/readiness"
)

// KindBusy says that all places for calculations are taken.
const KindBusy Kind = "busy"

// DefaultBudget is the time a calculation may take.
const DefaultBudget = 2 * time.Second

// Compute is the calculation: pure apart from the context, which can stop it.
type Compute func(context.Context, planner.Request) (planner.Plan, []planner.WorkingStep, error)

// Plans is the use cases on plans. History, Clock, NewID and Compute must be set; for Calculate alone Compute does, and
// then there is no book to look anything up in. The zero Budget means DefaultBudget, and the zero AtOnce one calculation for each processor. It is safe for concurrent use and must not be copied after first use.
type Plans struct {
	History History
	Clock   func() time.Time
	NewID   func() uuid.UUID
	Compute Compute
	Budget  time.Duration
	AtOnce  int // calculations

	gate    gate
	memory  memory
	learner learner
}

// Calculate computes a plan and keeps nothing of it in the history. Without a History the order must hold the vessel.
func (p *Plans) Calculate(ctx context.Context, org OrgID, order PlanOrder) (plan planner.Plan, err error) {
	err = p.admit(ctx, org, order, func(calculate calculate) error {
		req := order.Request
		if p.History != nil {
			err := p.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) (err error) {
				req, _, err = p.resolve(ctx, reader, org, order)
				return err
			})
			if err != nil {
				return sorted(err)
			}
		}
		made, _, err := calculate(ctx, req)
		plan = made.plan
		return err
	})
	return plan, err
}

// Create computes a plan and keeps it, at most once for a claim of the organisation. A repeat
// gets the first answer and true, whatever the book says by then.
//
// The place for the calculation is taken before the claim opens its transaction, so that no more
// transactions stand open than calculations run.
func (p *Plans) Create(ctx context.Context, org OrgID, claim Claim, order PlanOrder) (Answer, bool, error) {
	return p.create(ctx, org, claim, order, func(context.Context, Recorder, PlanRecord) error { return nil })
}

// create does what Create says, and also what then says in the same transaction.
func (p *Plans) create(ctx context.Context, org OrgID, claim Claim, order PlanOrder, then func(context.Context, Recorder, PlanRecord) error) (answer Answer, replayed bool, err error) {
	err = p.admit(ctx, org, order, func(calculate calculate) (err error) {
		answer, replayed, err = p.History.Once(ctx, org, claim, func(ctx context.Context, recorder Recorder) (Answer, error) {
			req, at, err := p.resolve(ctx, recorder, org, order)
			if err != nil {
				return Answer{}, err
			}
			made, inputs, err := calculate(ctx, req)
			if err != nil {
				return Answer{}, err
			}
			record, err := p.publish(ctx, recorder, order, made, req, inputs, at)
			if err != nil {
				return Answer{}, err
			}
			if err := recorder.RecordPlan(ctx, record); err != nil {
				return Answer{}, fmt.Errorf("record plan: %w", err)
			}
			if err := then(ctx, recorder, record); err != nil {
				return Answer{}, err
			}
			return Answer{PlanID: record.ID, Body: record.Answer}, nil
		})
		return sorted(err)
	})
	return answer, replayed, err
}

// calculate makes a calculation, or remembers it, and gives the inputs' JSON.
type calculate func(context.Context, planner.Request) (calculation, []byte, error)

// admit has an order's work done when there is a place for its calculation. One that came lately to a calculation that is
// remembered is tried without a place: should the book have changed since, so that it comes to another now, it is taken
// back and waits for one.
func (p *Plans) admit(ctx context.Context, org OrgID, order PlanOrder, work func(calculate) error) error {
	if err := order.check(); err != nil {
		return err
	}
	asked, err := nameOrder(org, order)
	if err != nil {
		return err
	}
	if p.memory.expects(asked) {
		err := work(func(_ context.Context, req planner.Request) (calculation, []byte, error) {
			made, _, inputs, err := p.recall(org, req)
			return made, inputs, err
		})
		if !errors.Is(err, errForgotten) {
			return err
		}
	}
	within := p.budget() - p.budget()/leftOver
	due := time.Now().Add(within) // waiting and computing share the budget, so that no answer takes longer
	p.gate.open(p.AtOnce)
	leave, err := p.gate.enter(ctx, p.gate.patience(within))
	if err != nil {
		return err
	}
	defer leave()
	return work(func(ctx context.Context, req planner.Request) (calculation, []byte, error) {
		made, name, inputs, err := p.recall(org, req)
		if errors.Is(err, errForgotten) {
			if made, err = p.compute(ctx, req, name, due); err == nil {
				p.memory.calculations.put(name, made)
			}
		}
		if err == nil {
			p.memory.orders.put(asked, name)
		}
		return made, inputs, err
	})
}

// check checks an order as far as it can be without the book.
func (o PlanOrder) check() error {
	if o.VesselID == uuid.Nil {
		return validate(o.Request)
	}
	if len(o.Request.Forecast.Steps) == 0 {
		return refusal([]planner.Problem{{Pointer: "/forecast/steps", Message: "no steps", Fix: "send at least one step with a time and a wind speed"}})
	}
	return nil
}

// Get returns a plan of the organisation as it was made.
func (p *Plans) Get(ctx context.Context, org OrgID, id uuid.UUID) (PlanRecord, error) {
	record, err := p.History.Plan(ctx, org, id)
	return record, sorted(err)
}

// Answer returns the bytes that were answered when a plan was made.
func (p *Plans) Answer(ctx context.Context, org OrgID, id uuid.UUID) ([]byte, error) {
	answer, err := p.History.PlanAnswer(ctx, org, id)
	return answer, sorted(err)
}

// SHA256 returns the hash of those bytes, in hex, without reading them.
func (p *Plans) SHA256(ctx context.Context, org OrgID, id uuid.UUID) (string, error) {
	sum, err := p.History.PlanSHA256(ctx, org, id)
	return sum, sorted(err)
}

// List returns a page of the organisation's plans.
func (p *Plans) List(ctx context.Context, org OrgID, filter PlanFilter, from Place, limit int) (PlanPage, error) {
	page, err := p.History.Plans(ctx, org, filter, from, limit)
	return page, sorted(err)
}

// Working returns the working of a plan, the JSON of []planner.WorkingStep.
func (p *Plans) Working(ctx context.Context, org OrgID, id uuid.UUID) ([]byte, error) {
	record, err := p.History.Plan(ctx, org, id)
	return record.Working, sorted(err)
}

// KeptPlan is a plan as it is kept and answered.
type KeptPlan struct {
	planner.Plan
	VesselID   *uuid.UUID `json:"vessel_id,omitempty"`
	Supersedes *uuid.UUID `json:"supersedes,omitempty"`
}

// publish gives a plan that was made its name, time and addresses. Its time is its turn's, so that plans and
// changes to the book stand in one order; the turn is asked for when the calculation is done, because others wait for it.
func (p *Plans) publish(ctx context.Context, recorder Recorder, order PlanOrder, made calculation, req planner.Request, inputs []byte, at AsOf) (PlanRecord, error) {
	plan := made.plan
	stamp, err := recorder.Turn(ctx, p.Clock)
	if err != nil {
		return PlanRecord{}, err
	}
	id, now := p.NewID(), stamp.RecordedAt
	plan.ID, plan.CreatedAt, plan.Links = id.String(), &now, PlanLinks(id)
	kept := KeptPlan{Plan: plan, VesselID: orAbsent(order.VesselID), Supersedes: orAbsent(order.Supersedes)}
	if kept.VesselID != nil {
		plan.Links["vessel"] = fleet.Describe(fleet.KindVessel).Path + "/" + order.VesselID.String()
	}
	if plan.Calibration != nil {
		plan.Links["calibration"] = learningPath(at, uuid.Nil)
	}
	if kept.Supersedes != nil {
		plan.Links["supersedes"] = PlanLinks(order.Supersedes)["self"]
	}
	answer, err := json.Marshal(kept)
	if err != nil {
		return PlanRecord{}, fmt.Errorf("encode plan: %w", err)
	}
	return PlanRecord{
		ID: id, CreatedAt: now, VesselName: plan.VesselName, Intent: plan.Intent, Engine: plan.Engine,
		InputSHA256: plan.InputSHA256, PeakN: plan.Loads.PeakN, PayOutM: plan.Rode.PayOutM,
		VesselID: order.VesselID, Supersedes: order.Supersedes, By: order.By, Facts: readiness.PlanOf(plan, req), Position: req.Position,
		Begins: req.Forecast.Steps[0].Time, Ends: req.Forecast.Steps[len(req.Forecast.Steps)-1].Time,
		Inputs: inputs, Answer: answer, Working: made.working,
	}, nil
}

func orAbsent(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

// PlanLinks gives the addresses that belong to a plan.
func PlanLinks(id uuid.UUID) map[string]string {
	self := "/v1/plans/" + id.String()
	return map[string]string{
		"self": self, "working": self + "/working", "changes": self + "/changes", "sheet": self + "/sheet", "drawing_rig": self + "/drawings/rig.svg", "drawing_peak": self + "/drawings/peak.svg",
		"drawing_hours": self + "/drawings/hours.svg", "drawing_drift": self + "/drawings/drift.svg", "deployments": self + "/deployments",
	}
}

// recall gives a calculation that is remembered, or errForgotten; and its name and its inputs in either case.
func (p *Plans) recall(org OrgID, req planner.Request) (made calculation, name calculationName, inputs []byte, err error) {
	if inputs, err = json.Marshal(req); err != nil {
		return made, name, nil, fmt.Errorf("encode inputs: %w", err)
	}
	name = calculationName{org, sha256.Sum256(inputs), planner.Engine}
	made, ok := p.memory.calculations.get(name)
	if !ok {
		return made, name, inputs, errForgotten
	}
	return made, name, inputs, nil
}

// compute runs the calculation until it is due and names the inputs by their hash.
func (p *Plans) compute(ctx context.Context, req planner.Request, name calculationName, due time.Time) (calculation, error) {
	budgeted, cancel := context.WithDeadline(ctx, due)
	defer cancel()
	begun := time.Now()
	plan, steps, err := p.Compute(budgeted, req)
	p.gate.took(time.Since(begun))
	var invalid *planner.InvalidError
	switch out := (*quantity.RangeError)(nil); {
	case err == nil:
		plan.InputSHA256 = hex.EncodeToString(name.inputs[:])
		working, err := json.Marshal(append([]planner.WorkingStep{}, steps...)) // none is an empty list, not null
		if err != nil {
			return calculation{}, fmt.Errorf("encode working: %w", err)
		}
		// What cannot be written, as with something in it that is no number, is not to be remembered.
		if _, err := json.Marshal(plan); err != nil {
			return calculation{}, fmt.Errorf("encode plan: %w", err)
		}
		return calculation{plan, working}, nil
	case ctx.Err() != nil: // the caller has gone
		return calculation{}, context.Cause(ctx)
	case budgeted.Err() != nil:
		return calculation{}, &Error{Kind: KindTooSlow, Message: fmt.Sprintf("the calculation was not done within %v", p.budget()), Err: err}
	case errors.As(err, &invalid):
		return calculation{}, refusal(invalid.Problems)
	case errors.As(err, &out):
		field := FieldError{Message: out.Error(), Fix: "send a case within that range; the model does not cover this one"}
		return calculation{}, &Error{Kind: KindInvalid, Message: "the model does not cover this case", Fields: []FieldError{field}, Err: err}
	}
	return calculation{}, fmt.Errorf("compute plan: %w", err)
}

func (p *Plans) budget() time.Duration {
	if p.Budget > 0 {
		return p.Budget
	}
	return DefaultBudget
}

func validate(req planner.Request) error {
	problems := planner.Validate(req)
	if len(problems) == 0 {
		return nil
	}
	return refusal(problems)
}

// refusal is the error of a request with problems.
func refusal(problems []planner.Problem) error {
	fields := make([]FieldError, len(problems))
	for i, problem := range problems {
		fields[i] = FieldError(problem)
	}
	return &Error{Kind: KindInvalid, Message: "the request is refused", Fields: fields}
}

// sorted turns a store's sentinel into an error of its kind; any other error passes.
func sorted(err error) error {
	if known := (*Error)(nil); errors.As(err, &known) {
		return err
	}
	for _, s := range []struct {
		sentinel error
		kind     Kind
		message  string
	}{
		{ErrNotFound, KindNotFound, "there is no plan with this id"},
		{ErrKeyReused, KindKeyReused, "the Idempotency-Key was used for another body"},
		{ErrInFlight, KindInFlight, "a request with this Idempotency-Key is at work"},
		{ErrOutcomeUnknown, KindUnknown, "what was asked may or may not have been done"},
		{ErrUnavailable, KindUnavailable, "the store cannot be reached"},
		{ErrAltered, KindAltered, "the log is not what was recorded and signed; keep the checkpoints you have, and verify the log against them"},
	} {
		if errors.Is(err, s.sentinel) {
			return &Error{Kind: s.kind, Message: s.message, Err: err}
		}
	}
	return err
}
