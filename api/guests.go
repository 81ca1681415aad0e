package api

import (
	"net"
	"net/http"
	"sync"
)

// guests counts a server's connections, by its ConnState. http.Server.Shutdown hangs up on a request that arrives while it waits;
// whoever waits here until all have gone has nothing left to hang up on. The zero value is ready.
type guests struct {
	mu   sync.Mutex
	here int
	gone chan struct{} // closed when nobody is here; nil: nobody waits
}

func (g *guests) note(_ net.Conn, state http.ConnState) {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch state {
	case http.StateNew:
		g.here++
	case http.StateClosed, http.StateHijacked:
		g.here--
	}
	if g.here == 0 && g.gone != nil {
		close(g.gone)
		g.gone = nil
	}
}

// leave gives a channel that is closed when all have gone. It is asked for once, when nobody is let in any more.
func (g *guests) leave() <-chan struct{} {
	g.mu.Lock()
	defer g.mu.Unlock()
	gone := make(chan struct{})
	if g.here == 0 {
		close(gone)
	} else {
		g.gone = gone
	}
	return gone
}
