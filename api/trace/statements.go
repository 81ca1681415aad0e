package trace

import (
	"context"
	"errors"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"
)

// Statements tells pgx whom to tell of statements; nil: nobody. What follows from no request and no job has no span: the
// queue asks for work all the time.
func (t *Traces) Statements() pgx.QueryTracer {
	if t == nil {
		return nil
	}
	return statements{t}
}

type statements struct{ t *Traces }

var (
	_ pgx.BatchTracer       = statements{}
	_ pgxpool.AcquireTracer = statements{}
)

// TraceQueryStart is pgx.QueryTracer's.
func (s statements) TraceQueryStart(ctx context.Context, _ *pgx.Conn, data pgx.TraceQueryStartData) context.Context {
	return s.begin(ctx, nameOf(data.SQL))
}

// TraceQueryEnd is pgx.QueryTracer's.
func (s statements) TraceQueryEnd(ctx context.Context, _ *pgx.Conn, data pgx.TraceQueryEndData) {
	s.end(ctx, data.Err)
}

// TraceBatchStart is pgx.BatchTracer's: one span for what goes out together.
func (s statements) TraceBatchStart(ctx context.Context, _ *pgx.Conn, data pgx.TraceBatchStartData) context.Context {
	var names []string
	for _, q := range data.Batch.QueuedQueries {
		names = append(names, nameOf(q.SQL))
	}
	return s.begin(ctx, strings.Join(names, "; "))
}

// TraceBatchQuery is pgx.BatchTracer's.
func (statements) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}

// TraceBatchEnd is pgx.BatchTracer's.
func (s statements) TraceBatchEnd(ctx context.Context, _ *pgx.Conn, data pgx.TraceBatchEndData) {
	s.end(ctx, data.Err)
}

// TraceAcquireStart is pgxpool.AcquireTracer's: the wait for a connection.
func (s statements) TraceAcquireStart(ctx context.Context, _ *pgxpool.Pool, _ pgxpool.TraceAcquireStartData) context.Context {
	return s.begin(ctx, "acquire a connection")
}

// TraceAcquireEnd is pgxpool.AcquireTracer's.
func (s statements) TraceAcquireEnd(ctx context.Context, _ *pgxpool.Pool, data pgxpool.TraceAcquireEndData) {
	s.end(ctx, data.Err)
}

// openKey has a span of ours in the context that pgx keeps for the end.
type openKey struct{}

func (s statements) begin(ctx context.Context, name string) context.Context {
	if !trace.SpanContextFromContext(ctx).IsValid() {
		return ctx
	}
	_, span := s.t.tracer.Start(ctx, name, trace.WithSpanKind(trace.SpanKindClient), trace.WithAttributes(attribute.String("db.system.name", "postgresql")))
	return context.WithValue(ctx, openKey{}, span)
}

func (s statements) end(ctx context.Context, err error) {
	span, ours := ctx.Value(openKey{}).(trace.Span)
	if !ours {
		return
	}
	var said *pgconn.PgError
	if errors.As(err, &said) {
		span.SetAttributes(attribute.String("db.response.status_code", said.Code))
	}
	fail(span, err)
	span.End()
}

// What names a statement: what it does, and the first table or function that it names.
var (
	words  = regexp.MustCompile(`(?i)^(?:\s|--[^\n]*\n)*(\w+)`)
	target = regexp.MustCompile(`(?i)\b(?:FROM|INTO|UPDATE|TABLE|JOIN)\s+(?:ONLY\s+)?"?([a-z_][\w.]*)`)
	called = regexp.MustCompile(`(?i)^\s*SELECT\s+([a-z_]\w*)\(`)
)

// nameOf names a statement without its values: "SELECT plans".
func nameOf(sql string) string {
	word := words.FindStringSubmatch(sql)
	if word == nil {
		return "statement"
	}
	name := strings.ToUpper(word[1])
	for _, what := range []*regexp.Regexp{target, called} {
		if found := what.FindStringSubmatch(sql); found != nil {
			return name + " " + found[1]
		}
	}
	return name
}
