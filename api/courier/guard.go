package courier

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"syscall"
)

// errInward says that an address is not to be reached.
var errInward = errors.New("an inward address")

// inward is what is never dialled, by the IANA registries of special-purpose addresses (RFC 6890 and its updates; from memory,
// 2026). Of IPv6 only global unicast is dialled, 2000::/3, which leaves out loopback, link-local, unique-local, multicast, the
// translation prefixes of NAT64 (64:ff9b::/96, 64:ff9b:1::/48) and IPv4 in all its mapped and compatible forms.
var inward = prefixes(
	"0.0.0.0/8",        // this network
	"10.0.0.0/8",       // private
	"100.64.0.0/10",    // shared by a carrier's customers
	"127.0.0.0/8",      // loopback
	"169.254.0.0/16",   // link-local, and the metadata of clouds
	"172.16.0.0/12",    // private
	"192.0.0.0/24",     // protocol assignments
	"192.0.2.0/24",     // documentation
	"192.88.99.0/24",   // relays of 6to4
	"192.168.0.0/16",   // private
	"198.18.0.0/15",    // benchmarks
	"198.51.100.0/24",  // documentation
	"203.0.113.0/24",   // documentation
	"224.0.0.0/4",      // multicast
	"240.0.0.0/4",      // reserved, and broadcast
	"168.63.129.16/32", // a cloud's own services, at an address that looks public
	"2001::/23",        // protocol assignments, with Teredo, which carries IPv4
	"2001:db8::/32",    // documentation
	"2002::/16",        // 6to4, which carries IPv4
	"3fff::/20",        // documentation
)

var globalUnicast = netip.MustParsePrefix("2000::/3")

func prefixes(texts ...string) []netip.Prefix {
	out := make([]netip.Prefix, len(texts))
	for i, text := range texts {
		out[i] = netip.MustParsePrefix(text)
	}
	return out
}

// guard tells which addresses may be dialled.
type guard struct {
	allow     []netip.Prefix // dialled though they are inward
	allowOnly bool           // nothing else is dialled
}

// check judges an address as it is dialled.
func (g guard) check(ip netip.Addr) error {
	ip = ip.Unmap()
	switch {
	case slices.ContainsFunc(g.allow, func(p netip.Prefix) bool { return p.Contains(ip) }):
		return nil
	case g.allowOnly,
		ip.Zone() != "",
		ip.Is6() && !globalUnicast.Contains(ip),
		slices.ContainsFunc(inward, func(p netip.Prefix) bool { return p.Contains(ip) }),
		isOwn(ip):
		return fmt.Errorf("%w: %v", errInward, ip)
	}
	return nil
}

// isOwn tells whether an address is this machine's, which may have a public one.
func isOwn(ip netip.Addr) bool {
	own, err := net.InterfaceAddrs()
	if err != nil {
		return true // nobody can tell
	}
	return slices.ContainsFunc(own, func(a net.Addr) bool {
		p, err := netip.ParsePrefix(a.String())
		return err == nil && p.Addr().Unmap() == ip
	})
}

// control is called with the address that a connection is about to be made to. Names are resolved before and
// not again, so an answer of the DNS that changes cannot come in between.
func (g guard) control(_ context.Context, network, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil || (network != "tcp4" && network != "tcp6") {
		return fmt.Errorf("%w: %s %s", errInward, network, address)
	}
	return g.check(at.Addr())
}
