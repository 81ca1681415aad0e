package trace_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	sdk "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"rideout/api/trace"
	"rideout/service"
	"rideout/service/planner"
)

// secret is what must not get out by any span.
const secret = "Anna Kestrel"

func traces(t *testing.T) (*trace.Traces, func() tracetest.SpanStubs) {
	exporter := tracetest.NewInMemoryExporter()
	made := trace.New(sdk.WithSyncer(exporter))
	t.Cleanup(func() {
		for _, s := range exporter.GetSpans() {
			if text := fmt.Sprintf("%+v", s); strings.Contains(text, secret) {
				t.Errorf("a span holds %q: %s", secret, text)
			}
		}
		if err := made.Close(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return made, exporter.GetSpans
}

// told writes spans as name, status and attributes, in the order they ended.
func told(spans tracetest.SpanStubs) (texts []string) {
	for _, s := range spans {
		text := s.Name + " " + s.Status.Code.String()
		for _, a := range s.Attributes {
			text += " " + string(a.Key) + "=" + a.Value.String()
		}
		texts = append(texts, text)
	}
	return texts
}

func expect(t *testing.T, spans tracetest.SpanStubs, want ...string) {
	t.Helper()
	if got := strings.Join(told(spans), "\n"); got != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", got, strings.Join(want, "\n"))
	}
}

func TestRequestAndUseCase(t *testing.T) {
	t.Parallel()
	tr, spans := traces(t)
	r := httptest.NewRequest(http.MethodPost, "/v1/plans/"+strings.ReplaceAll(secret, " ", "-"), strings.NewReader(secret))
	r.Header.Set("Tracestate", "who="+secret)
	ctx, id, end := tr.Request(r, "POST", "/v1/plans")
	_, endUse := tr.UseCase(ctx, "CreatePlan")
	endUse(&service.Error{Kind: service.KindInvalid, Message: secret})
	end(500)
	expect(t, spans(), "CreatePlan Error error.type=invalid", "POST /v1/plans Error http.request.method=POST http.route=/v1/plans http.response.status_code=500")
	if got := spans()[0]; got.Parent.SpanID() != spans()[1].SpanContext.SpanID() || got.SpanContext.TraceID().String() != id {
		t.Errorf("the use case is not within its request: %v", got.Parent)
	}
}

func TestRefusedCalculationIsTraced(t *testing.T) {
	t.Parallel()
	tr, spans := traces(t)
	compute := tr.Compute(func(ctx context.Context, r planner.Request) (planner.Plan, []planner.WorkingStep, error) {
		return planner.Compute(ctx, r)
	})
	if _, _, err := compute(t.Context(), planner.Request{Vessel: planner.Vessel{Name: secret}}); err == nil {
		t.Fatal("an empty request has a plan")
	}
	expect(t, spans(), "compute Error error.type=failed") // refused before the first step
}

func TestJobsLinkToTheirCauseAndHandItOn(t *testing.T) {
	t.Parallel()
	tr, spans := traces(t)
	const cause = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"
	answers := []error{nil, service.Again{}, errors.New(secret), service.Pointless{Err: errors.New(secret)}}
	var within []string
	workers := tr.Workers(service.Workers{"replan": {AtOnce: 7, Do: func(ctx context.Context, j service.Job) error {
		within = append(within, service.CauseOf(ctx))
		return answers[j.Seq]
	}}})
	if workers["replan"].AtOnce != 7 {
		t.Error("a traced worker has lost how many are at work at once")
	}
	for i, want := range answers {
		if got := workers["replan"].Do(t.Context(), service.Job{Org: uuid.New(), Seq: int64(i), Cause: []string{cause, ""}[i%2]}); got != want {
			t.Errorf("a traced worker gives %v, want %v", got, want)
		}
	}
	expect(t, spans(), "job replan Unset", "job replan Unset", "job replan Error error.type=failed", "job replan Error error.type=failed")
	for i, s := range spans() {
		linked := len(s.Links) == 1 && "00-"+s.Links[0].SpanContext.TraceID().String()+"-"+s.Links[0].SpanContext.SpanID().String()+"-01" == cause
		if linked != (i%2 == 0) || s.Parent.IsValid() {
			t.Errorf("job %d: links %v, parent %v", i, s.Links, s.Parent)
		}
		if want := "00-" + s.SpanContext.TraceID().String() + "-" + s.SpanContext.SpanID().String() + "-01"; within[i] != want {
			t.Errorf("job %d hands on %q, want %q", i, within[i], want)
		}
	}
}

type carrier struct{ got *string }

func (carrier) Admit(string) string { return "" }

func (c carrier) Carry(ctx context.Context, _ string, _ service.Message) service.Receipt {
	*c.got = service.CauseOf(ctx)
	return service.Receipt{Outcome: service.Refused, Status: 500}
}

func TestMessagesAreTraced(t *testing.T) {
	t.Parallel()
	tr, spans := traces(t)
	var got string
	tr.Courier(carrier{&got}).Carry(t.Context(), "https://"+secret, service.Message{ID: secret, Body: []byte(secret), Signatures: []string{secret}})
	expect(t, spans(), "deliver Error rideout.outcome=refused http.response.status_code=500")
	if s := spans()[0]; !strings.Contains(got, s.SpanContext.SpanID().String()) {
		t.Errorf("handed on %q, want span %v", got, s.SpanContext.SpanID())
	}
}

func TestStatementsAreNamedWithoutValues(t *testing.T) {
	t.Parallel()
	tr, spans := traces(t)
	statements := tr.Statements()
	ask := func(ctx context.Context, sql string, err error) {
		ctx = statements.TraceQueryStart(ctx, nil, pgx.TraceQueryStartData{SQL: sql, Args: []any{secret}})
		statements.TraceQueryEnd(ctx, nil, pgx.TraceQueryEndData{Err: err})
	}
	ask(t.Context(), "SELECT 1", nil) // of no request
	ctx, end := tr.UseCase(t.Context(), "x")
	ask(ctx, "\nSELECT answer\nFROM plans\nWHERE org_id = @org", nil)
	ask(ctx, "SELECT set_config($1, $2, true)", nil)
	ask(ctx, "INSERT INTO records (a) SELECT a FROM plans", &pgconn.PgError{Code: "23505", Detail: secret, Message: secret})
	ask(ctx, "UPDATE webhooks\nSET a = '"+secret+"'", errors.New(secret))
	ask(ctx, "begin read only", nil)
	ask(ctx, "WITH x AS (SELECT a FROM changes WHERE b = '"+secret+"') SELECT a FROM x", context.DeadlineExceeded)
	batch := &pgx.Batch{}
	batch.Queue("SELECT set_config($1, $2, true)", secret)
	batch.Queue("DELETE FROM idempotency_claims WHERE a = $1", secret)
	batches := statements.(pgx.BatchTracer)
	batches.TraceBatchEnd(batches.TraceBatchStart(ctx, nil, pgx.TraceBatchStartData{Batch: batch}), nil, pgx.TraceBatchEndData{})
	end(nil)
	const db = " db.system.name=postgresql"
	expect(t, spans(), "SELECT plans Unset"+db, "SELECT set_config Unset"+db, "INSERT records Error"+db+" db.response.status_code=23505 error.type=failed",
		"UPDATE webhooks Error"+db+" error.type=failed", "BEGIN Unset"+db, "WITH changes Error"+db+" error.type=timeout",
		"SELECT set_config; DELETE idempotency_claims Unset"+db, "x Unset")
}

// Where nobody asked for traces nothing is wrapped.
func TestNoTracesWrapNothing(t *testing.T) {
	t.Parallel()
	var none *trace.Traces
	courier := carrier{new(string)}
	if none.Courier(courier) != courier || none.Statements() != nil || none.Close(t.Context()) != nil {
		t.Error("it wraps something")
	}
	workers := service.Workers{}
	if got := none.Workers(workers); fmt.Sprintf("%p", got) != fmt.Sprintf("%p", workers) {
		t.Error("it wraps workers")
	}
	if none.Compute(nil) != nil {
		t.Error("it wraps a calculation")
	}
}
