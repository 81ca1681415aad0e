package client

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"mime"
	"net"
	"net/http"
	"strconv"
	"time"
)

const (
	// DefaultAttempts is how often a request is tried at most.
	DefaultAttempts = 6
	// DefaultPatience is how long a line may be silent before it is given up. A calculation takes seconds.
	DefaultPatience = time.Minute

	firstWait   = 500 * time.Millisecond
	longestWait = 30 * time.Second
	// longestAsked is the longest Retry-After that is waited for.
	longestAsked = 2 * time.Minute
	// largestAnswer is the most that is read of one answer.
	largestAnswer = 64 << 20
)

// courier carries requests and repeats them: where the service asks for it, and where an answer was lost and a second one can
// do no harm. It reads answers whole, because a line that breaks in the middle is the commonest loss.
type courier struct {
	http      http.Client
	attempts  int
	patience  time.Duration
	repeating func(error, time.Duration)
}

func newCourier(cfg Config) *courier {
	c := &courier{attempts: cfg.Attempts, patience: cfg.Patience, repeating: cfg.Repeating}
	c.http.Transport = cfg.Transport
	// The service redirects nobody; a redirect would carry the key elsewhere.
	c.http.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	if c.attempts == 0 {
		c.attempts = DefaultAttempts
	}
	if c.patience == 0 {
		c.patience = DefaultPatience
	}
	if c.repeating == nil {
		c.repeating = func(error, time.Duration) {}
	}
	return c
}

// Do carries one request.
func (c *courier) Do(r *http.Request) (*http.Response, error) {
	if err := keepBody(r); err != nil {
		return nil, err
	}
	for attempt := 1; ; attempt++ {
		answer, err := c.try(r)
		cause := err
		if err == nil {
			cause = refusal(answer)
		}
		wait, again := c.again(r, answer, cause, attempt)
		if !again {
			return answer, err
		}
		c.repeating(cause, wait)
		if err := sleep(r.Context(), wait); err != nil {
			return nil, err
		}
	}
}

// keepBody makes a body that can be sent again.
func keepBody(r *http.Request) error {
	if r.Body == nil || r.GetBody != nil {
		return nil
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return fmt.Errorf("read what is to be sent: %w", err)
	}
	r.ContentLength = int64(len(body))
	r.GetBody = func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(body)), nil }
	return nil
}

// try sends a request once and reads its answer whole, unless it is a stream. It gives up a line that is silent for too long.
func (c *courier) try(r *http.Request) (*http.Response, error) {
	ctx, cancel := context.WithCancelCause(r.Context())
	silent := time.AfterFunc(c.patience, func() { cancel(errSilent) })
	end := func() { silent.Stop(); cancel(nil) }
	once := r.Clone(ctx)
	if r.GetBody != nil {
		body, err := r.GetBody()
		if err != nil {
			end()
			return nil, err
		}
		once.Body = body
	}
	answer, err := c.http.Do(once)
	if err != nil {
		end()
		return nil, explained(ctx, err)
	}
	answer.Body = &watchedBody{answer.Body, ctx, silent, c.patience, end}
	if isStream(answer) {
		return answer, nil
	}
	body, err := io.ReadAll(io.LimitReader(answer.Body, largestAnswer+1))
	answer.Body.Close()
	if err != nil {
		return nil, err
	}
	if len(body) > largestAnswer {
		return nil, fmt.Errorf("the answer is larger than %d MB", largestAnswer>>20)
	}
	answer.Body = io.NopCloser(bytes.NewReader(body))
	return answer, nil
}

// isStream tells of an answer that is read while it comes, however long it is.
func isStream(answer *http.Response) bool {
	kind, _, _ := mime.ParseMediaType(answer.Header.Get("Content-Type")) // one that cannot be read is none of these
	return answer.StatusCode == http.StatusOK && (kind == "text/event-stream" || kind == "application/x-ndjson" || kind == "text/csv")
}

// again tells whether a request is tried once more, and after how long.
func (c *courier) again(r *http.Request, answer *http.Response, cause error, attempt int) (time.Duration, bool) {
	if cause == nil || attempt >= c.attempts || r.Context().Err() != nil {
		return 0, false
	}
	wait := waitAfter(attempt)
	wait = wait/2 + rand.N(wait/2+1) // so that many clients do not come again together
	if answer == nil {
		return wait, isRepeatable(r) && isLost(cause)
	}
	problem := (*Error)(nil)
	if !errors.As(cause, &problem) || !asksForRepeat(r, problem) {
		return 0, false
	}
	asked := retryAfter(answer)
	return max(asked, wait), asked <= longestAsked
}

// waitAfter doubles with each attempt.
func waitAfter(attempt int) time.Duration {
	wait := firstWait
	for ; attempt > 1 && wait < longestWait; attempt-- {
		wait *= 2
	}
	return min(wait, longestWait)
}

// asksForRepeat tells whether an answer says that the same request may succeed later.
func asksForRepeat(r *http.Request, p *Error) bool {
	switch p.Code {
	case "too_slow": // it would be again
		return false
	case "outcome_unknown":
		return isRepeatable(r)
	}
	switch p.Status {
	case http.StatusTooManyRequests, http.StatusServiceUnavailable:
		return true
	case http.StatusBadGateway, http.StatusGatewayTimeout: // of a proxy: nobody knows what was done
		return isRepeatable(r)
	case http.StatusConflict: // our own first try, whose answer was lost, may still be at work
		return p.Code == "in_flight"
	}
	return false
}

// isRepeatable tells whether a request may be sent again when nobody knows whether it was carried out.
func isRepeatable(r *http.Request) bool {
	return r.Method == http.MethodGet || r.Method == http.MethodHead || r.Header.Get("Idempotency-Key") != "" || r.URL.Path == "/v1/calculations"
}

// isLost tells of an error of the line, which another try may not meet. A name that is not there and a certificate that
// does not hold are none.
func isLost(err error) bool {
	var certificate *tls.CertificateVerificationError
	var name *net.DNSError
	if errors.As(err, &certificate) || (errors.As(err, &name) && name.IsNotFound) {
		return false
	}
	var network net.Error
	return errors.As(err, &network) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, errSilent)
}

// refusal is the problem of an answer that is one. Its body can be read again.
func refusal(answer *http.Response) error {
	if answer.StatusCode < http.StatusMultipleChoices {
		return nil
	}
	body, _ := io.ReadAll(answer.Body) // it is in memory
	answer.Body = io.NopCloser(bytes.NewReader(body))
	return problemOf(answer.StatusCode, answer.Header.Get("Content-Type"), body)
}

// retryAfter reads how long the service asks to wait (RFC 9110, 10.2.3).
func retryAfter(answer *http.Response) time.Duration {
	text := answer.Header.Get("Retry-After")
	if seconds, err := strconv.Atoi(text); err == nil && seconds >= 0 && seconds < 1<<31 {
		return time.Duration(seconds) * time.Second
	}
	if at, err := http.ParseTime(text); err == nil {
		return max(0, time.Until(at))
	}
	return 0
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

var errSilent = errors.New("nothing came for too long")

// explained puts the reason a line was given up in place of its cancellation.
func explained(ctx context.Context, err error) error {
	if err != nil && errors.Is(context.Cause(ctx), errSilent) {
		return errSilent
	}
	return err
}

// watchedBody starts the clock of a silent line anew whenever something comes.
type watchedBody struct {
	io.ReadCloser
	ctx      context.Context
	silent   *time.Timer
	patience time.Duration
	end      func()
}

func (b *watchedBody) Read(into []byte) (int, error) {
	n, err := b.ReadCloser.Read(into)
	if n > 0 {
		b.silent.Reset(b.patience)
	}
	return n, explained(b.ctx, err)
}

func (b *watchedBody) Close() error {
	b.end()
	return b.ReadCloser.Close()
}
