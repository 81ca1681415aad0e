package faulttest

import (
	"bytes"
	"net"
	"sync"
	"time"
)

// weather is what a line does to what goes over it. The zero value is nothing.
type weather struct {
	delay      time.Duration // of each piece, either way
	late       time.Duration // of each piece back
	stall      bool          // nothing moves
	refuse     bool          // no new connections
	dropCommit float64       // share of COMMITs whose answer is lost with the connection
	lieCommit  float64       // share of COMMITs that are answered and not done: a bug for controls
	kill       func()        // is called before a message of a transaction that changes something, which is then not handed on
	step       int           // which message: 0 is its BEGIN; beforeCommit; afterCommit: the answer to it
	otherTold  bool          // events are of another version than is there: a bug for controls
	sayReady   bool          // /readyz is answered by the line: a bug for controls
}

// line hands on connections to a target, in any weather.
type line struct {
	listener net.Listener
	target   func() (network, address string)

	mu      sync.Mutex
	changed *sync.Cond
	now     weather
	open    map[net.Conn]struct{}
	commits int
	closed  bool
}

func newLine(target func() (network, address string)) (*line, error) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	l := &line{listener: listener, target: target, open: map[net.Conn]struct{}{}}
	l.changed = sync.NewCond(&l.mu)
	go l.serve()
	return l, nil
}

func (l *line) port() int { return l.listener.Addr().(*net.TCPAddr).Port }

// set changes the weather.
func (l *line) set(w weather) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now = w
	l.changed.Broadcast()
}

// retarget leads new connections elsewhere.
func (l *line) retarget(target func() (network, address string)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.target = target
}

// reset breaks every connection there is.
func (l *line) reset() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for c := range l.open {
		if tcp, ok := c.(*net.TCPConn); ok {
			_ = tcp.SetLinger(0) // so that the other side sees a reset and not an end
		}
		c.Close()
	}
}

func (l *line) close() {
	l.mu.Lock()
	l.closed = true
	l.now = weather{}
	l.changed.Broadcast()
	l.mu.Unlock()
	l.listener.Close()
	l.reset()
}

func (l *line) serve() {
	for {
		near, err := l.listener.Accept()
		if err != nil {
			return
		}
		if l.weather().refuse {
			near.Close()
			continue
		}
		l.mu.Lock()
		target := l.target
		l.mu.Unlock()
		network, address := target()
		far, err := net.Dial(network, address)
		if err != nil {
			near.Close()
			continue
		}
		l.mu.Lock()
		l.open[near], l.open[far] = struct{}{}, struct{}{}
		l.mu.Unlock()
		c := &call{line: l, near: near, far: far, step: none}
		go c.out()
		go c.back()
	}
}

// weather waits while nothing moves.
func (l *line) weather() weather {
	l.mu.Lock()
	defer l.mu.Unlock()
	for l.now.stall && !l.closed {
		l.changed.Wait()
	}
	return l.now
}

// chosen tells whether a COMMIT is one of a share: of 0.25 every fourth is.
func (l *line) chosen(share float64) bool {
	if share <= 0 {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.commits++
	return int(float64(l.commits)*share) > int(float64(l.commits-1)*share)
}

// call is one connection.
type call struct {
	line      *line
	near, far net.Conn

	step  int    // of the transaction that changes something; none: there is no such one
	begin []byte // what its BEGIN is prepared as

	mu   sync.Mutex
	lies bool // the next ROLLBACK is to be called COMMIT
	mute bool // the next answer is lost, and the connection with it
	ends bool // the next answer is to COMMIT
}

const (
	none         = -3
	beforeCommit = -2
	afterCommit  = -1
)

// What pgx sends to end a transaction, and what Postgres answers (PostgreSQL 15, 55.7, message formats).
var (
	beginQuery     = []byte("begin read write\x00")
	preparedName   = []byte("stmtcache_") // as the names pgx gives begin
	commitQuery    = []byte("Q\x00\x00\x00\x0bcommit\x00")
	rollbackQuery  = []byte("Q\x00\x00\x00\x0drollback\x00")
	commitAnswer   = []byte("C\x00\x00\x00\x0bCOMMIT\x00")
	rollbackAnswer = []byte("C\x00\x00\x00\x0dROLLBACK\x00")
)

var readyAnswer = []byte("HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 18\r\nConnection: close\r\n\r\n{\"status\":\"ready\"}")

func (c *call) hangUp() {
	c.near.Close()
	c.far.Close()
	c.line.mu.Lock()
	defer c.line.mu.Unlock()
	delete(c.line.open, c.near)
	delete(c.line.open, c.far)
}

// out hands on what the client says.
func (c *call) out() {
	defer c.hangUp()
	buffer := make([]byte, 64<<10)
	for {
		n, err := c.near.Read(buffer)
		if err != nil {
			return
		}
		said, w := buffer[:n], c.line.weather()
		time.Sleep(w.delay)
		if w.sayReady && bytes.HasPrefix(said, []byte("GET /readyz ")) {
			_, _ = c.near.Write(readyAnswer)
			return
		}
		c.follow(said)
		commits := bytes.Contains(said, commitQuery)
		if w.kill != nil && c.step != none && (c.step == w.step || commits && w.step == beforeCommit) {
			w.kill()
			return
		}
		if commits {
			c.step = none
			c.mark(&c.ends)
			switch {
			case c.line.chosen(w.lieCommit):
				c.mark(&c.lies)
				said = bytes.Replace(said, commitQuery, rollbackQuery, 1)
			case c.line.chosen(w.dropCommit):
				c.mark(&c.mute)
			}
		}
		if _, err := c.far.Write(said); err != nil {
			return
		}
	}
}

// follow counts the messages of a transaction that changes something.
func (c *call) follow(said []byte) {
	if at := bytes.Index(said, beginQuery); at > 0 { // Parse has the name before the text, and what follows has the name alone
		if from := bytes.LastIndex(said[:at], preparedName); from >= 0 {
			c.begin = bytes.Clone(said[from:at])
		}
	}
	switch {
	case bytes.Contains(said, beginQuery), len(c.begin) > 0 && bytes.Contains(said, c.begin):
		c.step = 0
	case bytes.Contains(said, rollbackQuery):
		c.step = none
	case c.step != none:
		c.step++
	}
}

func (c *call) mark(what *bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	*what = true
}

// back hands on what the server answers.
func (c *call) back() {
	defer c.hangUp()
	buffer := make([]byte, 64<<10)
	for {
		n, err := c.far.Read(buffer)
		if err != nil {
			return
		}
		said, w := buffer[:n], c.line.weather()
		time.Sleep(w.delay + w.late)
		c.mu.Lock()
		mute, ends := c.mute, c.ends
		c.ends = false
		if c.lies && bytes.Contains(said, rollbackAnswer) {
			said = bytes.Replace(said, rollbackAnswer, commitAnswer, 1)
			c.lies = false
		}
		c.mu.Unlock()
		if ends && w.kill != nil && w.step == afterCommit {
			w.kill()
			return
		}
		if mute {
			return // the server has answered, so it has committed
		}
		if w.otherTold {
			said = bytes.ReplaceAll(said, []byte(`"version":1,`), []byte(`"version":7,`))
		}
		if _, err := c.near.Write(said); err != nil {
			return
		}
	}
}
