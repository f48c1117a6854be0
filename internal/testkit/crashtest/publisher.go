package crashtest

import (
	"bufio"
	"crypto/tls"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"time"

	"dewcase/internal/testkit/patience"
)

// Publisher is a logger that keeps the books: a message counts as acknowledged
// only when its own PUBACK was read from the wire. It reconnects by itself and
// sends again what was not acknowledged. (A ready-made client will not do here:
// the usual one reports messages as delivered when it merely reconnects.)
type Publisher struct {
	Addr           string
	ID             string
	Window         int           // messages sent and not acknowledged
	Pause          time.Duration // before each message: the pace of the stream
	User, Password string
	TLS            *tls.Config // nil: plain

	mu      sync.Mutex
	moved   *sync.Cond
	pending map[uint16]Sent
	order   []uint16
	acked   []int
	next    uint16
	conn    net.Conn
	stopped bool
	resent  int
}

// Sent is one message on its way.
type Sent struct {
	N       int
	Topic   string
	Payload []byte

	before bool // was written to a connection already
}

// NewPublisher prepares a publisher; it connects with the first message.
func NewPublisher(addr, id string, window int) *Publisher {
	p := &Publisher{Addr: addr, ID: id, Window: window, pending: map[uint16]Sent{}}
	p.moved = sync.NewCond(&p.mu)
	return p
}

// Send publishes a message; it waits while the window is full, through any
// number of broken connections.
func (p *Publisher) Send(s Sent) error {
	if p.Pause > 0 {
		time.Sleep(p.Pause)
	}
	p.mu.Lock()
	for len(p.pending) >= p.Window && !p.stopped {
		if p.conn == nil {
			p.mu.Unlock()
			if err := p.connect(); err != nil {
				return err
			}
			p.mu.Lock()
			continue
		}
		p.moved.Wait()
	}
	if p.stopped {
		p.mu.Unlock()
		return errors.New("stopped")
	}
	p.next++
	if p.next == 0 {
		p.next = 1
	}
	id := p.next
	conn := p.conn
	s.before = conn != nil
	p.pending[id] = s
	p.order = append(p.order, id)
	p.mu.Unlock()
	if conn == nil {
		return p.connect() // sends all that is pending
	}
	if _, err := conn.Write(encode(s, id, false)); err != nil {
		p.broken(conn)
	}
	return nil
}

// Flush waits until everything sent is acknowledged.
func (p *Publisher) Flush() error {
	for {
		p.mu.Lock()
		for len(p.pending) > 0 && p.conn != nil {
			p.moved.Wait()
		}
		left, stopped := len(p.pending), p.stopped
		p.mu.Unlock()
		if left == 0 || stopped {
			return nil
		}
		if err := p.connect(); err != nil {
			return err
		}
	}
}

// Acked are the numbers acknowledged so far; Pending how many are on their way;
// Resent how many were sent more than once.
func (p *Publisher) Acked() []int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]int(nil), p.acked...)
}

// AckedCount is how many were acknowledged.
func (p *Publisher) AckedCount() int { p.mu.Lock(); defer p.mu.Unlock(); return len(p.acked) }

// Pending is how many messages wait for their acknowledgement.
func (p *Publisher) Pending() int { p.mu.Lock(); defer p.mu.Unlock(); return len(p.pending) }

// Resent is how many were sent again after a broken connection.
func (p *Publisher) Resent() int { p.mu.Lock(); defer p.mu.Unlock(); return p.resent }

// Close ends the connection.
func (p *Publisher) Close() {
	p.mu.Lock()
	p.stopped = true
	conn := p.conn
	p.conn = nil
	p.moved.Broadcast()
	p.mu.Unlock()
	if conn != nil {
		_, _ = conn.Write([]byte{0xe0, 0})
		_ = conn.Close()
	}
}

// connect tries until it succeeds and sends what is pending again, in order.
func (p *Publisher) connect() error {
	for deadline := time.Now().Add(patience.Long); ; time.Sleep(10 * time.Millisecond) {
		conn, err := p.dial()
		if err != nil {
			p.mu.Lock()
			stopped := p.stopped
			p.mu.Unlock()
			if stopped || time.Now().After(deadline) {
				return fmt.Errorf("publisher %s: %w", p.ID, err)
			}
			continue
		}
		p.mu.Lock()
		var again []byte
		order := p.order[:0]
		for _, id := range p.order {
			if s, ok := p.pending[id]; ok {
				again = append(again, encode(s, id, s.before)...)
				order = append(order, id)
				if s.before {
					p.resent++
				}
				s.before = true
				p.pending[id] = s
			}
		}
		p.order = order
		p.conn = conn
		p.mu.Unlock()
		go p.read(conn)
		if _, err := conn.Write(again); err != nil {
			p.broken(conn)
			continue
		}
		return nil
	}
}

func (p *Publisher) dial() (net.Conn, error) {
	conn, err := net.DialTimeout("tcp", p.Addr, 5*time.Second)
	if err != nil {
		return nil, err
	}
	if p.TLS != nil {
		conn = tls.Client(conn, p.TLS)
	}
	flags, texts := byte(0), []string{p.ID} // a persistent session
	if p.User != "" {
		flags, texts = 0xc0, append(texts, p.User, p.Password)
	}
	body := []byte{0, 4, 'M', 'Q', 'T', 'T', 4, flags, 0, 0}
	for _, text := range texts {
		body = append(binary.BigEndian.AppendUint16(body, uint16(len(text))), text...)
	}
	_ = conn.SetDeadline(time.Now().Add(5 * time.Second))
	ack := make([]byte, 4)
	if _, err = conn.Write(append([]byte{0x10, byte(len(body))}, body...)); err == nil {
		_, err = io.ReadFull(conn, ack)
	}
	if err == nil && (ack[0] != 0x20 || ack[3] != 0) {
		err = fmt.Errorf("connection refused, code %d", ack[3])
	}
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return conn, conn.SetDeadline(time.Time{})
}

// read takes acknowledgements in until the connection breaks.
func (p *Publisher) read(conn net.Conn) {
	defer p.broken(conn)
	in := bufio.NewReaderSize(conn, 16<<10)
	var head [4]byte
	for {
		if _, err := io.ReadFull(in, head[:2]); err != nil {
			return
		}
		if head[0] != 0x40 || head[1] != 2 {
			return // nothing else is expected
		}
		if _, err := io.ReadFull(in, head[2:4]); err != nil {
			return
		}
		p.mu.Lock()
		id := binary.BigEndian.Uint16(head[2:])
		if s, ok := p.pending[id]; ok {
			delete(p.pending, id)
			p.acked = append(p.acked, s.N)
		}
		if len(p.order) > 4*p.Window { // forget what is done
			order := p.order[:0]
			for _, id := range p.order {
				if _, ok := p.pending[id]; ok {
					order = append(order, id)
				}
			}
			p.order = order
		}
		p.moved.Broadcast()
		p.mu.Unlock()
	}
}

func (p *Publisher) broken(conn net.Conn) {
	_ = conn.Close()
	p.mu.Lock()
	if p.conn == conn {
		p.conn = nil
	}
	p.moved.Broadcast()
	p.mu.Unlock()
}

// encode is one PUBLISH with quality of service 1 (MQTT 3.1.1, 3.3).
func encode(s Sent, id uint16, dup bool) []byte {
	first := byte(0x32)
	if dup {
		first |= 8
	}
	n := 2 + len(s.Topic) + 2 + len(s.Payload)
	out := binary.AppendUvarint(append(make([]byte, 0, n+5), first), uint64(n))
	out = binary.BigEndian.AppendUint16(out, uint16(len(s.Topic)))
	out = append(out, s.Topic...)
	out = binary.BigEndian.AppendUint16(out, id)
	return append(out, s.Payload...)
}
