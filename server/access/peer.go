package access

import (
	"context"
	"net/netip"

	"google.golang.org/grpc/peer"
)

// FromPeer gives the address that a call came from; false where it is not an address of
// a network. Who called the gateway is there already: see gateway.Caller.
func FromPeer(ctx context.Context) (netip.Addr, bool) {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil || p.Addr.Network() != "tcp" {
		return netip.Addr{}, false
	}
	text := p.Addr.String()
	if with, err := netip.ParseAddrPort(text); err == nil {
		return with.Addr().Unmap().WithZone(""), true
	}
	bare, err := netip.ParseAddr(text)
	return bare.Unmap().WithZone(""), err == nil
}
