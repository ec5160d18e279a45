package engine

// Framing is how TCP segments lie in Ethernet frames on the way. The zero value
// is IPv4 without VLAN tag. TCP timestamps are always counted: current systems
// send them unless told otherwise.
type Framing struct {
	VLAN bool // an 802.1Q tag in each frame
	IPv6 bool
}

// Sizes in bytes. Preamble with start delimiter, header, check sequence and
// inter-frame gap are 38 around an IP packet of at most 1500: 1538 on the wire
// (RFC 6349, section 4.1.1). IPv4, IPv6 and TCP headers without options: RFC
// 791, RFC 8200, RFC 9293; the timestamps option padded to a multiple of four:
// RFC 7323, appendix A; the tag: IEEE 802.1Q.
const (
	packet        = 1500
	frameOverhead = 8 + 14 + 4 + 12
	vlanTag       = 4
	ipv4Header    = 20
	ipv6Header    = 40
	tcpHeader     = 20
	timestamps    = 12
)

// TCPEfficiency is the share of a line's rate that full TCP segments carry as
// payload: 1448/1538 = 0.94148; 1448/1542 = 0.93904 with VLAN tags; 1428/1538 =
// 0.92848 over IPv6. It is an upper bound for a clean line: encryption records,
// retransmissions and acknowledgements the other way are not in it. Source: the
// frame arithmetic of RFC 6349, section 4.1.1.
func TCPEfficiency(f Framing) float64 {
	payload, wire := packet-ipv4Header-tcpHeader-timestamps, packet+frameOverhead
	if f.IPv6 {
		payload -= ipv6Header - ipv4Header
	}
	if f.VLAN {
		wire += vlanTag
	}
	return float64(payload) / float64(wire)
}
