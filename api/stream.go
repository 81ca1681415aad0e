package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"rideout/service"
)

const (
	streamBeat      = 15 * time.Second
	streamLife      = 15 * time.Minute // then the client comes again
	streamPatience  = 10 * time.Second // with a reader that takes nothing
	streamPage      = 100              // events read, and written, at a time
	streamsOfAKey   = 4
	streamsInAll    = 256
	streamRetry     = 2 * time.Second
	kindManyStreams = service.Kind("too_many_streams")
)

func (h handlers) StreamEvents(ctx context.Context, r StreamEventsRequestObject) (StreamEventsResponseObject, error) {
	out, err := h.streams.open(whose(ctx))
	if err != nil {
		return nil, err
	}
	s := eventStream{handlers: h, ctx: ctx, close: out}
	switch p := r.Params; {
	case p.LastEventID != nil:
		s.after, err = strconv.ParseInt(*p.LastEventID, 10, 64)
	case p.After != nil:
		s.after = *p.After
	default:
		s.after, err = h.events.Latest(ctx, org(ctx))
	}
	if err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

// eventStream is an answer that goes on. It keeps no more than one page of events: what a reader has not taken is
// read again from the log when it comes back.
type eventStream struct {
	handlers
	ctx   context.Context
	close func()
	after int64
	quiet bool // tell that something happened, not what
}

// VisitStreamEventsResponse writes until the reader goes, is too slow, or the stream has had its time. Whatever
// ends it, the reader comes again with the last id it has.
func (s eventStream) VisitStreamEventsResponse(w http.ResponseWriter) error {
	defer s.close()
	out, head := alive(s.ctx)
	header := w.Header()
	header.Set("Content-Type", "text/event-stream")
	header.Set("Cache-Control", "no-store")
	header.Set("X-Accel-Buffering", "no") // a proxy must not keep it back
	out.WriteHeader(http.StatusOK)
	if head {
		return nil
	}
	wake, stop := s.events.Watch(org(s.ctx))
	defer stop()
	// The server's limit on reading a request would end a stream, too.
	_ = http.NewResponseController(out).SetReadDeadline(time.Time{}) // a test's writer knows none
	// An id without data is remembered by the reader and told to nobody.
	greeting := fmt.Appendf(nil, "retry: %d\nid: %d\n\n", streamRetry.Milliseconds(), s.after)
	if err := send(out, greeting); err != nil {
		return nil
	}
	s.follow(out, wake)
	return nil
}

func (s eventStream) follow(out http.ResponseWriter, wake <-chan struct{}) {
	end, beat, look := time.NewTimer(streamLife), time.NewTicker(s.beat), time.NewTicker(min(s.beat, keyKept))
	defer end.Stop()
	defer beat.Stop()
	defer look.Stop()
	atOnce := make(chan struct{})
	close(atOnce)
	for {
		more, err := s.write(out)
		if err != nil {
			return
		}
		next := wake
		if more {
			next = atOnce
		}
		select { // even while there is more: a stream that never catches up ends, too
		case <-next:
		case <-beat.C:
			if send(out, []byte(": \n\n")) != nil {
				return
			}
		case <-look.C:
			if !s.stands(s.ctx) {
				return
			}
		case <-end.C:
			return
		case <-s.stopping:
			return
		case <-s.ctx.Done():
			return
		}
	}
}

// write writes one page of what is new, and tells whether there is more.
func (s *eventStream) write(out http.ResponseWriter) (more bool, err error) {
	page, err := s.events.Follow(s.ctx, org(s.ctx), s.after, streamPage)
	var text bytes.Buffer
	switch resync := (*service.ResyncError)(nil); {
	case errors.As(err, &resync):
		s.after = resync.After
		fmt.Fprintf(&text, "event: resync\nid: %d\ndata: {\"resync_after\":%d}\n\n", s.after, s.after)
	case err != nil:
		return false, err
	}
	for _, e := range page.Items {
		data := []byte("{}")
		if !s.quiet {
			if data, err = json.Marshal(e.Cloud(org(s.ctx))); err != nil {
				return false, fmt.Errorf("encode event: %w", err)
			}
		}
		fmt.Fprintf(&text, "id: %d\ndata: %s\n\n", e.Sequence, data)
		s.after = e.Sequence
	}
	if text.Len() == 0 {
		return false, nil
	}
	return page.Latest > s.after, send(out, text.Bytes())
}

// send hands text to the connection, which must take it in time.
func send(out http.ResponseWriter, text []byte) error {
	return sendWithin(out, text, streamPatience)
}

func sendWithin(out http.ResponseWriter, text []byte, patience time.Duration) error {
	control := http.NewResponseController(out)
	// A writer that knows no deadline is a test's.
	if err := control.SetWriteDeadline(time.Now().Add(patience)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	if _, err := out.Write(text); err != nil {
		return err
	}
	return control.Flush()
}

// streamCount counts the streams there are, so that one key cannot take all of them. The zero value is ready.
type streamCount struct {
	mu    sync.Mutex
	all   int
	byKey map[string]int
}

// open takes a place, or returns an error when there is none for the key. The caller must call close.
func (n *streamCount) open(key string) (closeIt func(), err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.byKey == nil {
		n.byKey = map[string]int{}
	}
	if n.byKey[key] >= streamsOfAKey || n.all >= streamsInAll {
		return nil, &service.Error{Kind: kindManyStreams, Message: fmt.Sprintf("a key may hold %d streams at a time, and all keys together %d", streamsOfAKey, streamsInAll)}
	}
	n.byKey[key]++
	n.all++
	return func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		n.all--
		if n.byKey[key]--; n.byKey[key] == 0 {
			delete(n.byKey, key)
		}
	}, nil
}

type aliveKey struct{}

type aliveAnswer struct {
	out  http.ResponseWriter
	head bool
}

// live lets an answer go out while it is made, past what keeps answers until they are whole.
func live(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r, out := c.Request(), c.Response().Writer
		if kept, ok := out.(*keptAnswer); ok {
			out = kept.out
		}
		answer := aliveAnswer{out, r.Method == http.MethodHead}
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), aliveKey{}, answer)))
		return next(c)
	}
}

// alive gives what live lets through: the connection's own writer, and whether only the head is asked for.
func alive(ctx context.Context) (http.ResponseWriter, bool) {
	answer, _ := ctx.Value(aliveKey{}).(aliveAnswer)
	return answer.out, answer.head
}
