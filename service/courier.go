package service

import (
	"context"
	"time"
)

// Message is what is sent to a webhook.
type Message struct {
	ID         string // the event's, the same however often it is sent
	At         time.Time
	Signatures []string
	Body       []byte
}

// Outcome is how an attempt to deliver went, in a word.
type Outcome string

// The outcomes.
const (
	Delivered   Outcome = "delivered"   // answered 2xx
	Refused     Outcome = "refused"     // answered with another status
	Redirected  Outcome = "redirected"  // answered 3xx, which is not followed
	Dismissed   Outcome = "dismissed"   // answered 410: it wants no more
	TimedOut    Outcome = "timed_out"   // no answer in time
	Unreachable Outcome = "unreachable" // no name, no connection, no TLS
	Inward      Outcome = "inward"      // the address lies within networks that are not to be reached
)

// Receipt is what came of carrying a message.
type Receipt struct {
	Outcome Outcome
	Status  int           // of HTTP; 0: no answer
	Wait    time.Duration // what the receiver asks to wait; 0: nothing
}

// Courier carries messages to receivers outside.
type Courier interface {
	// Admit says what is wrong with an address, in words to send after "is"; empty: nothing, as far as it can be told
	// before a message is carried there.
	Admit(address string) string
	// Carry sends a message once. It follows no redirect and reaches no inward address, whatever names resolve to.
	Carry(ctx context.Context, address string, m Message) Receipt
}
