// Package service is the domain: what a plan, a history and a key are, the use cases on them, and
// the interfaces it needs from the outside. It knows no HTTP and no SQL.
package service

import "errors"

// What a store tells of a request it cannot serve.
var (
	ErrNotFound       = errors.New("not found")
	ErrKeyReused      = errors.New("idempotency key was used for another request")
	ErrInFlight       = errors.New("a request with this idempotency key is in flight")
	ErrOutcomeUnknown = errors.New("the outcome of the commit is unknown")
	ErrUnavailable    = errors.New("the store cannot be reached")
	ErrAltered        = errors.New("the log is not what was recorded")
)

// Kind sorts the errors a caller can act on.
type Kind string

// The kinds. One table in the api maps each to a status.
const (
	KindInvalid     Kind = "invalid" // fields are wrong; see Fields
	KindNotFound    Kind = "not_found"
	KindKeyReused   Kind = "key_reused"
	KindInFlight    Kind = "in_flight"
	KindUnavailable Kind = "unavailable"
	KindUnknown     Kind = "outcome_unknown"
	KindTooSlow     Kind = "too_slow"    // the calculation's time budget ran out
	KindAltered     Kind = "log_altered" // the log is not what was recorded or signed
	KindUnsigned    Kind = "no_log_key"  // there is no key to sign the log with
	KindGone        Kind = "gone"        // events after the place asked for are not to be had

	KindUnmatched    Kind = "precondition_required" // a change does not say which version it starts from
	KindStale        Kind = "precondition_failed"   // it starts from a version that is no longer in force
	KindNotReferable Kind = "wrong_reference"       // the body names a thing that is not there or does not fit
)

// FieldError is one wrong field of a request: where (a JSON pointer into the body), what is wrong, and
// what to send instead.
type FieldError struct {
	Pointer string
	Message string
	Fix     string
}

// Error is an error whose message may reach the caller.
type Error struct {
	Kind    Kind
	Message string
	Fields  []FieldError
	Err     error // the cause, for the log alone
}

func (e *Error) Error() string { return string(e.Kind) + ": " + e.Message }

func (e *Error) Unwrap() error { return e.Err }
