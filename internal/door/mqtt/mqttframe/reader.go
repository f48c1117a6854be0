// Package mqttframe filters an MQTT byte stream so that a PUBLISH which is too
// large, or has an impossible topic, costs only that message. The message is
// cut down to a marker and its bytes are discarded unread; the connection
// survives, and the message can be counted, refused and acknowledged.
//
// Otherwise a logger that sends such a message would lose its connection,
// resend the message after reconnecting, and never deliver its good readings.
//
// The input is the bytes of one direction of a connection; the output is the
// same bytes with only those messages changed. At most one topic is held in
// memory. Batch and Handler, which receive messages, are declared here because
// the broker and the feed share them.
package mqttframe

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// Packet types in the upper half of the first byte (MQTT 3.1.1, table 2.1).
const (
	typeConnect = 1
	typePublish = 3
)

// maxProperties bounds the MQTT 5 properties kept of a message that is too large.
const maxProperties = 64 << 10

// ErrMalformed says that the stream is not MQTT any more; nothing after it can
// be understood, so the connection has to go.
var ErrMalformed = errors.New("malformed MQTT packet")

// mark begins the payload that stands in for one that was too large. It is
// random for each process, so no sender can forge it.
var mark = func() [16]byte {
	var m [16]byte
	_, _ = rand.Read(m[:]) // never fails since Go 1.24
	return m
}()

const markLen = len(mark) + 8

// TooLarge reports whether a payload is the stand-in for one over the limit, and
// how many bytes the discarded one had.
func TooLarge(payload []byte) (size int64, yes bool) {
	if len(payload) != markLen || !bytes.Equal(payload[:len(mark)], mark[:]) {
		return 0, false
	}
	return int64(binary.BigEndian.Uint64(payload[len(mark):])), true
}

// Reader is the stream with its impossible messages cut down. It is not safe for
// concurrent use, like any io.Reader.
type Reader struct {
	src        *bufio.Reader
	maxPayload int
	version    byte   // protocol level; 0 until the CONNECT packet was seen
	head       []byte // rewritten or checked bytes still to hand out
	pass       int    // bytes of the packet still to pass through unchanged
	err        error
}

// NewReader watches what a client sends: the protocol version is read from its
// CONNECT packet. Payloads over maxPayload bytes are discarded.
func NewReader(src io.Reader, maxPayload int) *Reader {
	return &Reader{src: bufio.NewReaderSize(src, 4096), maxPayload: maxPayload}
}

// NewReaderFromBroker watches what a broker sends to an MQTT 3.1.1 client.
func NewReaderFromBroker(src io.Reader, maxPayload int) *Reader {
	r := &Reader{src: bufio.NewReaderSize(src, 16384), maxPayload: maxPayload}
	r.version = 4
	return r
}

// Read implements io.Reader.
func (r *Reader) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		if len(r.head) > 0 {
			n := copy(p, r.head)
			r.head = r.head[n:]
			return n, nil
		}
		if r.pass > 0 {
			n, err := r.src.Read(p[:min(len(p), r.pass)])
			r.pass -= n
			return n, err
		}
		if r.err != nil {
			return 0, r.err
		}
		if r.err = r.next(); r.err != nil {
			r.head = nil // half a packet is of no use to anyone
			return 0, r.err
		}
	}
}

// next reads a packet's beginning and decides what leaves in its place.
func (r *Reader) next() error {
	first, err := r.src.ReadByte()
	if err != nil {
		return err
	}
	length, raw, err := readVarint(r.src)
	if err != nil {
		return unexpected(err)
	}
	r.head = append(r.head[:0], first)
	switch first >> 4 {
	case typePublish:
		return r.publish(first, length, raw)
	case typeConnect:
		if r.version == 0 {
			r.readVersion(length)
		}
	}
	r.head = append(r.head, raw...)
	r.pass = length
	return nil
}

// readVersion looks for the protocol level of a CONNECT packet without taking it
// out of the stream (MQTT 3.1.1, 3.1.2: name, then level).
func (r *Reader) readVersion(length int) {
	b, _ := r.src.Peek(min(length, 9))
	if len(b) < 3 {
		return
	}
	if at := 2 + int(binary.BigEndian.Uint16(b)); at < len(b) {
		r.version = b[at]
	}
}

// publish handles the one packet type that carries readings.
func (r *Reader) publish(first byte, length int, raw []byte) error {
	var size [2]byte
	if length < 2 {
		return fmt.Errorf("%w: a PUBLISH of %d bytes", ErrMalformed, length)
	}
	if _, err := io.ReadFull(r.src, size[:]); err != nil {
		return unexpected(err)
	}
	topicLen := int(binary.BigEndian.Uint16(size[:]))
	rest := length - 2 - topicLen
	qos := first >> 1 & 3
	idLen := 0
	if qos > 0 {
		idLen = 2
	}
	if rest < idLen || qos == 3 {
		return fmt.Errorf("%w: a PUBLISH whose parts do not fit its length", ErrMalformed)
	}
	// What a packet may measure around its payload is bounded too.
	tooLarge := rest-idLen > r.maxPayload
	r.head = append(r.head, raw...)
	r.head = append(r.head, size[:]...)
	at := len(r.head)
	r.head = append(r.head, make([]byte, topicLen)...)
	topic := r.head[at:]
	if _, err := io.ReadFull(r.src, topic); err != nil {
		return unexpected(err)
	}
	if mended, changed := mendTopic(topic); changed {
		r.head = append(r.head[:at], mended...)
	}
	if !tooLarge {
		r.pass = rest
		return nil
	}
	return r.cutDown(first, topicLen, rest, idLen)
}

// cutDown replaces a payload that is too large by the mark; the payload is read
// to its end first, so the acknowledgement never overtakes it.
func (r *Reader) cutDown(first byte, topicLen, rest, idLen int) error {
	topic := append([]byte(nil), r.head[len(r.head)-topicLen:]...)
	keep := make([]byte, idLen, idLen+8)
	if _, err := io.ReadFull(r.src, keep); err != nil {
		return unexpected(err)
	}
	rest -= idLen
	if r.version == 5 {
		n, raw, err := readVarint(r.src)
		if err != nil {
			return unexpected(err)
		}
		if n > maxProperties || n > rest-len(raw) {
			return fmt.Errorf("%w: %d bytes of properties", ErrMalformed, n)
		}
		props := make([]byte, n)
		if _, err := io.ReadFull(r.src, props); err != nil {
			return unexpected(err)
		}
		keep = append(append(keep, raw...), props...)
		rest -= len(raw) + n
	}
	if _, err := io.CopyN(io.Discard, r.src, int64(rest)); err != nil {
		return unexpected(err)
	}
	r.head = append(r.head[:0], first)
	r.head = binary.AppendUvarint(r.head, uint64(2+topicLen+len(keep)+markLen)) // MQTT 2.2.3 is the same base-128 form
	r.head = binary.BigEndian.AppendUint16(r.head, uint16(topicLen))
	r.head = append(r.head, topic...)
	r.head = append(r.head, keep...)
	r.head = append(r.head, mark[:]...)
	r.head = binary.BigEndian.AppendUint64(r.head, uint64(rest))
	return nil
}

// mendTopic replaces what no topic name may hold (NUL, wildcards, bytes that are
// not UTF-8, a leading '$', which belongs to the broker itself) by '?', in the
// same number of bytes. Such a topic names no logger, so the message is refused
// and counted further on. An empty topic stays: in MQTT 5 it stands for an alias.
func mendTopic(topic []byte) (mended []byte, changed bool) {
	if utf8.Valid(topic) && bytes.IndexByte(topic, 0) < 0 && bytes.IndexByte(topic, '+') < 0 &&
		bytes.IndexByte(topic, '#') < 0 && (len(topic) == 0 || topic[0] != '$') {
		return topic, false
	}
	mended = make([]byte, 0, len(topic))
	for i := 0; i < len(topic); {
		c, size := utf8.DecodeRune(topic[i:])
		switch {
		case c == utf8.RuneError && size <= 1, c == 0, c == '+', c == '#', c == '$' && i == 0:
			mended = append(mended, '?')
			size = 1
		default:
			mended = append(mended, topic[i:i+size]...)
		}
		i += size
	}
	return mended, true
}

// readVarint reads a length of one to four bytes (MQTT 3.1.1, 2.2.3).
func readVarint(src io.ByteReader) (value int, raw []byte, err error) {
	var buf [4]byte
	for i := range buf {
		b, err := src.ReadByte()
		if err != nil {
			return 0, nil, err
		}
		buf[i] = b
		value |= int(b&0x7f) << (7 * i)
		if b < 0x80 {
			return value, buf[:i+1], nil
		}
	}
	return 0, nil, fmt.Errorf("%w: a length of more than four bytes", ErrMalformed)
}

// unexpected turns an end inside a packet into what it is.
func unexpected(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}
