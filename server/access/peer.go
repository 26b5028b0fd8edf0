package access

import (
	"context"
	"net/netip"

	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
)

// RemoteKey is the metadata under which a gateway in this process says who called it:
// an address, with or without a port. It is believed on a connection in memory only
// (grpc/test/bufconn), which nobody else can have.
const RemoteKey = "x-turnwright-remote"

// memoryNetwork is what a connection in memory calls its network.
const memoryNetwork = "bufconn"

// FromPeer gives the address that a call truly came from; false where it is not an
// address of a network.
func FromPeer(ctx context.Context) (netip.Addr, bool) {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil {
		return netip.Addr{}, false
	}
	text := p.Addr.String()
	if p.Addr.Network() == memoryNetwork {
		said := metadata.ValueFromIncomingContext(ctx, RemoteKey)
		if len(said) != 1 {
			return netip.Addr{}, false
		}
		text = said[0]
	}
	if with, err := netip.ParseAddrPort(text); err == nil {
		return with.Addr().Unmap().WithZone(""), true
	}
	bare, err := netip.ParseAddr(text)
	return bare.Unmap().WithZone(""), err == nil
}
