package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"net/url"
	"os"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store"
	"rideout/store/private"
	"rideout/store/storetest"
)

func TestLostAnswerToCommit(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		cut  cut
		kept bool
	}{
		"COMMIT arrives and its answer is lost": {afterCommit, true},
		"COMMIT is lost":                        {beforeCommit, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			direct := storetest.URL(t)
			s := storetest.Open(t, direct)
			org, plan := anOrg(t, s), aPlan()
			line := newProxy(t, direct)
			shaky := storetest.Open(t, line.url)
			line.set(test.cut)
			_, _, err := shaky.Once(t.Context(), org, aClaim("k"), recording(plan))
			if !errors.Is(err, service.ErrOutcomeUnknown) {
				t.Errorf("got %v, want %v", err, service.ErrOutcomeUnknown)
			}
			line.set(whole)
			again := aPlan() // what a repeat would make
			want := again.ID
			if test.kept {
				want = plan.ID
			}
			got, repeated, err := patiently(t, shaky, org, recording(again))
			if err != nil || repeated != test.kept || got.PlanID != want {
				t.Errorf("repeat: got %v, repeated %v, error %v, want %v, repeated %v", got.PlanID, repeated, err, want, test.kept)
			}
			wantRows(t, direct, "plans", 1)
		})
	}
}

func TestServerIsGone(t *testing.T) {
	t.Parallel()
	line := newProxy(t, storetest.URL(t))
	s := storetest.Open(t, line.url)
	org, plan := anOrg(t, s), aPlan()
	keep(t, s, org, plan)
	line.close()
	_, _, once := s.Once(t.Context(), org, aClaim("k"), recording(aPlan()))
	_, one := s.Plan(t.Context(), org, plan.ID)
	_, list := s.Plans(t.Context(), org, service.PlanFilter{}, service.Place{}, 1)
	_, _, key := s.KeyByHash(t.Context(), hashOf("k"))
	used := s.KeyUsed(t.Context(), org, uuid.New(), "", noon)
	_, named := s.OrganisationByName(t.Context(), "k")
	_, open := store.Open(t.Context(), store.Config{URL: line.url})
	for name, err := range map[string]error{"Once": once, "Plan": one, "Plans": list, "KeyByHash": key, "KeyUsed": used, "OrganisationByName": named, "Ping": s.Ping(t.Context()), "Open": open} {
		if !errors.Is(err, service.ErrUnavailable) {
			t.Errorf("%s: got %v, want %v", name, err, service.ErrUnavailable)
		}
	}
}

func TestCallerThatHasGone(t *testing.T) {
	t.Parallel()
	s := storetest.New(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := s.Plan(ctx, anOrg(t, s), aPlan().ID)
	if !errors.Is(err, context.Canceled) || errors.Is(err, service.ErrUnavailable) {
		t.Errorf("got %v, want %v alone", err, context.Canceled)
	}
}

func TestBrokenConnectionsAreReplaced(t *testing.T) {
	t.Parallel()
	url := storetest.URL(t)
	s := storetest.Open(t, url)
	org, plan := anOrg(t, s), aPlan()
	keep(t, s, org, plan)
	for range 3 {
		breakSessions(t, url) // the pool does not know yet
		if _, err := s.Plan(t.Context(), org, plan.ID); err != nil {
			t.Error(err)
		}
	}
}

func TestRestartKeepsData(t *testing.T) {
	t.Parallel()
	dir, err := os.MkdirTemp("", "rideout-data-*") // t.TempDir is closed to the account a root's server runs as
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	var org service.OrgID
	plan := aPlan()
	for round := range 2 {
		server, err := private.Start(t.Context(), dir, private.Options{})
		if err != nil {
			t.Fatal(err)
		}
		migrate(t, server.URL())
		s, err := store.Open(t.Context(), store.Config{URL: server.URL(), MaxConns: 2})
		if err != nil {
			t.Fatal(err)
		}
		if round == 0 {
			org = anOrg(t, s)
		}
		got, repeated, err := s.Once(t.Context(), org, aClaim("k"), recording(plan))
		if err != nil || repeated != (round > 0) || !bytes.Equal(got.Body, plan.Answer) {
			t.Errorf("start %d: got %s, repeated %v, error %v, want %s", round, got.Body, repeated, err, plan.Answer)
		}
		s.Close()
		if err := server.Stop(); err != nil {
			t.Fatal(err)
		}
	}
}

// cut says what a proxy does with COMMIT.
type cut int

const (
	whole cut = iota
	afterCommit
	beforeCommit
)

// proxy is a line to a server that can be cut.
type proxy struct {
	url      string
	listener net.Listener
	dial     func() (net.Conn, error)

	mu    sync.Mutex
	how   cut
	conns []net.Conn
}

func newProxy(t *testing.T, target string) *proxy {
	t.Helper()
	config, err := pgx.ParseConfig(target)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	u := url.URL{Scheme: "postgres", User: url.UserPassword(config.User, config.Password), Host: listener.Addr().String(), Path: "/" + config.Database, RawQuery: "sslmode=disable"}
	p := &proxy{url: u.String(), listener: listener, dial: func() (net.Conn, error) {
		network, address := pgconn.NetworkAddress(config.Host, config.Port)
		return net.Dial(network, address)
	}}
	t.Cleanup(p.close)
	go p.serve()
	return p
}

func (p *proxy) set(how cut) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.how = how
}

func (p *proxy) close() {
	p.listener.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		c.Close()
	}
}

func (p *proxy) serve() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		server, err := p.dial()
		if err != nil {
			client.Close()
			continue
		}
		p.mu.Lock()
		p.conns = append(p.conns, client, server)
		p.mu.Unlock()
		answers := &gate{to: client}
		go func() {
			io.Copy(answers, server)
			client.Close()
		}()
		go p.forward(server, client, answers)
	}
}

// forward hands on what the client says, until it says COMMIT and the line is to be cut.
func (p *proxy) forward(server, client net.Conn, answers *gate) {
	commit := []byte("Q\x00\x00\x00\x0bcommit\x00")
	buffer := make([]byte, 64<<10)
	for {
		n, err := client.Read(buffer)
		p.mu.Lock()
		how := p.how
		p.mu.Unlock()
		if bytes.Contains(buffer[:n], commit) && how != whole {
			if how == afterCommit {
				answers.shut()
				server.Write(buffer[:n])
				<-answers.lost // the server has answered, so it has committed
			}
			client.Close()
			server.Close()
			return
		}
		if _, err2 := server.Write(buffer[:n]); err != nil || err2 != nil {
			server.Close()
			return
		}
	}
}

// gate hands answers on until it is shut; then the first one lost closes the channel.
type gate struct {
	to   io.Writer
	mu   sync.Mutex
	lost chan struct{}
}

func (g *gate) shut() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.lost = make(chan struct{})
}

func (g *gate) Write(b []byte) (int, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.lost == nil {
		return g.to.Write(b)
	}
	close(g.lost)
	return 0, errors.New("the line is cut")
}
