package credentials

import "net/netip"

// Source is whom a wrong guess from an address is counted against: the address
// itself, or of IPv6 its /64, since whoever has one address of such a network
// has all of them. What is no address stands for itself.
func Source(host string) string {
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if ip = ip.Unmap(); ip.Is4() {
		return ip.String()
	}
	return netip.PrefixFrom(ip, 64).Masked().String()
}
