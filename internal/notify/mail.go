package notify

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"strings"

	"github.com/wneessen/go-mail"

	"dewcase/internal/alert"
)

// MailOptions are the mail server and how to speak to it.
type MailOptions struct {
	Host     string
	Port     int
	User     string
	Password string
	TLS      string // starttls | tls | none
	From     string
	Roots    *tls.Config // nil: the system's roots
}

// Mail sends messages through one mail server.
type Mail struct {
	opt MailOptions
}

// NewMail checks the options. Mail in clear is for a server on this machine
// only, because it carries when people are home.
func NewMail(o MailOptions) (*Mail, error) {
	if o.Host == "" || o.From == "" {
		return nil, errors.New("sending mail needs alerts.smtp.host and alerts.smtp.from")
	}
	if o.TLS == "none" && !local(o.Host) {
		return nil, fmt.Errorf("mail in clear goes to a server on this machine only, not to %s: set alerts.smtp.tls to starttls or tls", o.Host)
	}
	if o.User != "" && o.TLS == "none" {
		return nil, errors.New("a mail password is not sent in clear: set alerts.smtp.tls to starttls or tls")
	}
	return &Mail{o}, nil
}

func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Name is the channel's name.
func (*Mail) Name() string { return "mail" }

// Send delivers one message to each address on its own, so that no household
// sees who else is written to. An address that the server refuses for good is
// named; the others still get theirs.
func (m *Mail) Send(ctx context.Context, msg alert.Message, to []string) error {
	client, err := m.client()
	if err != nil {
		return err
	}
	var letters []*mail.Msg
	var bad []string
	for _, address := range to {
		x, err := m.letter(msg, address)
		if err != nil {
			bad = append(bad, fmt.Sprintf("%s: %v", address, err))
			continue
		}
		letters = append(letters, x)
	}
	if len(letters) == 0 {
		return fmt.Errorf("no address to write to (%s): %w", strings.Join(bad, "; "), ErrRefused)
	}
	err = client.DialAndSendWithContext(ctx, letters...)
	if err == nil {
		return nil
	}
	refused, sent := 0, 0
	for _, x := range letters {
		if x.IsDelivered() {
			sent++
		}
		var s *mail.SendError
		if x.HasSendError() && errors.As(x.SendError(), &s) && !s.IsTemp() && s.Reason != mail.ErrConnCheck {
			refused++
		}
	}
	if refused > 0 && refused+sent == len(letters) {
		return fmt.Errorf("sending mail to %s: %w: %w", strings.Join(to, ", "), err, ErrRefused)
	}
	return fmt.Errorf("sending mail by %s: %w", m.opt.Host, err)
}

func (m *Mail) client() (*mail.Client, error) {
	o := m.opt
	options := []mail.Option{mail.WithPort(o.Port), mail.WithTimeout(sendFor)}
	conf := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: o.Host}
	if o.Roots != nil {
		conf.RootCAs = o.Roots.RootCAs
	}
	options = append(options, mail.WithTLSConfig(conf))
	switch o.TLS {
	case "tls":
		options = append(options, mail.WithSSL())
	case "none":
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	default:
		options = append(options, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if o.User != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(o.User), mail.WithPassword(o.Password))
	}
	c, err := mail.NewClient(o.Host, options...)
	if err != nil {
		return nil, fmt.Errorf("the mail server %s: %w", o.Host, err)
	}
	return c, nil
}

func (m *Mail) letter(msg alert.Message, to string) (*mail.Msg, error) {
	x := mail.NewMsg()
	if err := x.From(m.opt.From); err != nil {
		return nil, fmt.Errorf("the sender %s: %w", m.opt.From, err)
	}
	if err := x.To(to); err != nil {
		return nil, err
	}
	x.Subject(oneLine(msg.Subject))
	x.SetDateWithValue(msg.At)
	// The same message always carries the same id, so that a repeat after a lost
	// answer is known for one.
	sum := sha256.Sum256([]byte(msg.Key + "\x00" + to))
	domain := m.opt.From[strings.LastIndexByte(m.opt.From, '@')+1:]
	x.SetMessageIDWithValue(hex.EncodeToString(sum[:16]) + "@" + strings.Trim(domain, "> "))
	x.SetGenHeader("Auto-Submitted", "auto-generated")
	if link := between(msg.Text, "To stop these mails: "); link != "" {
		x.SetGenHeader("List-Unsubscribe", "<"+link+">")
		x.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
	}
	x.SetBodyString(mail.TypeTextPlain, msg.Text+"\n")
	return x, nil
}

func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}

// between is the rest of the line after a mark.
func between(s, mark string) string {
	_, rest, ok := strings.Cut(s, mark)
	if !ok {
		return ""
	}
	line, _, _ := strings.Cut(rest, "\n")
	return strings.TrimSpace(line)
}
