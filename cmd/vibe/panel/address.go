package panel

import (
	"errors"
	"net"
	"net/netip"
	"slices"
)

// ErrNoNetwork is that there is no address at which a phone in the shop could find this machine.
var ErrNoNetwork = errors.New("this computer is in no network of the shop")

// Addresses are those at which phones and tablets of the same network can find this machine:
// the private IPv4 ones (RFC 1918) of the interfaces that are up, then those that machines
// joined by a cable alone give themselves (RFC 3927). The one first through which this machine
// reaches other networks: that is the one with the wireless, most often. Public addresses are
// left out: vibe is not for the internet. The error is ErrNoNetwork where there is none.
func Addresses() ([]netip.AddrPort, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var private, own []netip.AddrPort
	for _, i := range all {
		if i.Flags&net.FlagUp == 0 || i.Flags&(net.FlagLoopback|net.FlagPointToPoint) != 0 {
			continue
		}
		addresses, err := i.Addrs()
		if err != nil {
			continue // gone since
		}
		for _, a := range addresses {
			p, err := netip.ParsePrefix(a.String())
			switch ip := p.Addr().Unmap(); {
			case err != nil || !ip.Is4():
			case ip.IsPrivate():
				private = append(private, netip.AddrPortFrom(ip, 0))
			case ip.IsLinkLocalUnicast():
				own = append(own, netip.AddrPortFrom(ip, 0))
			}
		}
	}
	private = append(private, own...)
	if private == nil {
		return nil, ErrNoNetwork
	}
	if i := slices.IndexFunc(private, func(a netip.AddrPort) bool { return a.Addr() == outward() }); i > 0 {
		first := private[i]
		private = slices.Insert(slices.Delete(private, i, i+1), 0, first)
	}
	return private, nil
}

// outward is the address from which this machine would reach another network. Nothing is sent.
func outward() netip.Addr {
	c, err := net.Dial("udp4", "192.0.2.1:9") // RFC 5737: nobody's address
	if err != nil {
		return netip.Addr{}
	}
	defer c.Close()
	return c.LocalAddr().(*net.UDPAddr).AddrPort().Addr()
}
