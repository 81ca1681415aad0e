package client

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"net/http"
	"strconv"
	"time"

	"rideout/openapi"
)

// Message is one message of the stream: an event, or that the stream cannot make up for what was missed.
type Message struct {
	Event  openapi.Event
	JSON   json.RawMessage // the event as it was sent
	Resync bool            // events were missed: read the lists anew
}

// Follow gives events as they happen, after the one with the sequence given; nil: from the next one on. When the stream ends, it is
// taken up again after the last event, so that none is missed and none comes twice; it ends with the context, when
// the service refuses, and when a connection failed as often as the client tries. What it repeats it tells Repeating of the
// client's Config.
func Follow(ctx context.Context, c *Client, after *int64) iter.Seq2[Message, error] {
	f := follower{client: c, after: after}
	return func(yield func(Message, error) bool) {
		for {
			on, err := f.connect(ctx, yield)
			if !on {
				return
			}
			if err := cmp.Or(ctx.Err(), err); err != nil {
				yield(Message{}, err)
				return
			}
			if err := sleep(ctx, f.retry()); err != nil {
				yield(Message{}, err)
				return
			}
		}
	}
}

// follower is where a reader of the stream is.
type follower struct {
	client *Client
	after  *int64 // the last id seen
	pause  time.Duration
}

// retry is how long the service asks to wait before a stream that ended is taken up again.
func (f *follower) retry() time.Duration {
	if f.pause == 0 {
		return 2 * time.Second
	}
	return f.pause
}

// connect reads one stream to its end. An error is one that taking it up again does not mend.
func (f *follower) connect(ctx context.Context, yield func(Message, error) bool) (on bool, err error) {
	params := &openapi.StreamEventsParams{}
	if f.after != nil {
		last := strconv.FormatInt(*f.after, 10)
		params.LastEventID = &last
	}
	answer, err := f.client.StreamEvents(ctx, params, func(_ context.Context, r *http.Request) error {
		r.Header.Set("Accept", "text/event-stream")
		return nil
	})
	if err != nil {
		return true, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		_, err := Bytes(answer, nil)
		return true, err
	}
	for m := range messages(answer.Body) {
		if m.retry > 0 {
			f.pause = m.retry
		}
		if m.id != nil {
			f.after = m.id
		}
		if m.data == nil {
			continue
		}
		told := Message{JSON: m.data, Resync: m.kind == "resync"}
		if !told.Resync {
			if err := json.Unmarshal(m.data, &told.Event); err != nil {
				return true, fmt.Errorf("an event is not what the contract says: %w", err)
			}
		}
		if !yield(told, nil) {
			return false, nil
		}
	}
	return true, nil
}

// sent is one message of a stream of server-sent events.
type sent struct {
	kind  string
	id    *int64
	data  []byte
	retry time.Duration
}

// messages reads a stream as the HTML standard says (Server-sent events, 9.2.6). A message that was cut is
// left out: it comes again.
func messages(stream io.Reader) iter.Seq[sent] {
	return func(yield func(sent) bool) {
		var m sent
		lines := bufio.NewReader(stream)
		for {
			line, err := lines.ReadBytes('\n')
			if err != nil {
				return
			}
			line = bytes.TrimRight(line, "\r\n")
			if len(line) == 0 {
				if !yield(m) {
					return
				}
				m = sent{}
				continue
			}
			name, value, _ := bytes.Cut(line, []byte(":"))
			value = bytes.TrimPrefix(value, []byte(" "))
			switch string(name) {
			case "event":
				m.kind = string(value)
			case "data":
				if m.data != nil {
					m.data = append(m.data, '\n')
				}
				m.data = append(m.data, value...)
			case "id":
				if n, err := strconv.ParseInt(string(value), 10, 64); err == nil {
					m.id = &n
				}
			case "retry":
				if ms, err := strconv.Atoi(string(value)); err == nil && ms >= 0 {
					m.retry = time.Duration(ms) * time.Millisecond
				}
			}
		}
	}
}
