package notify

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"

	"github.com/wneessen/go-mail"

	"dewcase/internal/reason/alert"
)

// MailOptions are the mail server and how to speak to it.
type MailOptions struct {
	Host     string
	Port     int
	User     string
	Password string
	TLS      string // starttls | tls | none
	From     string
	CAFile   string // certificates (PEM) that may sign the server's; "" the system's
	// Page is the link to the household's page that a mail to one of it carries,
	// "" for none. It is asked for when the mail goes out, so that a mail which
	// waited never brings a link withdrawn in the meantime. nil: no mail has one.
	Page func(ctx context.Context, caseID, to string) string
	// Experts are the addresses that a household's answer goes to; nil: none.
	Experts func(caseID string) []string
}

// Mail sends messages through one mail server.
type Mail struct {
	opt   MailOptions
	roots *x509.CertPool // nil: the system's
}

// NewMail checks the options. Mail in clear is for a server on this machine
// only, because it carries when people are home.
func NewMail(o MailOptions) (*Mail, error) {
	if o.Host == "" || o.From == "" {
		return nil, errors.New("sending mail needs alerts.smtp.host and alerts.smtp.from")
	}
	if o.TLS == "none" && !local(o.Host) {
		return nil, fmt.Errorf("mail in clear goes to a server on this machine only, not to %s: set alerts.smtp.tls to "+
			"starttls or tls", o.Host)
	}
	if o.User != "" && o.TLS == "none" {
		return nil, errors.New("a mail password is not sent in clear: set alerts.smtp.tls to starttls or tls")
	}
	m := &Mail{opt: o}
	if o.CAFile != "" {
		pem, err := os.ReadFile(o.CAFile)
		if err != nil {
			return nil, fmt.Errorf("reading the mail server's certificate (alerts.smtp.ca_file): %w", err)
		}
		if m.roots = x509.NewCertPool(); !m.roots.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("the file %s (alerts.smtp.ca_file) holds no certificate in PEM form", o.CAFile)
		}
	}
	return m, nil
}

func local(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Name is the channel's name.
func (*Mail) Name() string { return "mail" }

// Send delivers one message to one address.
func (m *Mail) Send(ctx context.Context, msg alert.Message, to string) error {
	client, err := m.client()
	if err != nil {
		return err
	}
	letter, err := m.letter(ctx, msg, to)
	if err != nil {
		return fmt.Errorf("writing to %s: %w: %w", to, err, ErrRefused)
	}
	err = client.DialAndSendWithContext(ctx, letter)
	if err == nil || letter.IsDelivered() {
		return nil // taken by the server; what failed after is only the farewell
	}
	var s *mail.SendError
	if errors.As(err, &s) && !s.IsTemp() && s.ErrorCode() >= 500 {
		return fmt.Errorf("the mail server refuses the mail to %s: %w: %w", to, err, ErrRefused)
	}
	if s != nil && s.Reason == mail.ErrSMTPRcptTo { // a full mailbox, a server that asks strangers to come again
		return fmt.Errorf("the mail server does not take mail to %s now: %w: %w", to, err, ErrThisLetter)
	}
	return fmt.Errorf("sending mail by %s: %w", m.opt.Host, err)
}

// Try greets the server and logs in, and sends nothing.
func (m *Mail) Try(ctx context.Context) error {
	client, err := m.client()
	if err != nil {
		return err
	}
	if err := client.DialWithContext(ctx); err != nil {
		return fmt.Errorf("the mail server %s does not let us in: %w", m.opt.Host, err)
	}
	return client.Close()
}

func (m *Mail) client() (*mail.Client, error) {
	o := m.opt
	options := []mail.Option{mail.WithPort(o.Port), mail.WithTimeout(sendFor)}
	conf := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: o.Host, RootCAs: m.roots}
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
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(o.User),
			mail.WithPassword(o.Password))
	}
	c, err := mail.NewClient(o.Host, options...)
	if err != nil {
		return nil, fmt.Errorf("the mail server %s: %w", o.Host, err)
	}
	return c, nil
}

func (m *Mail) letter(ctx context.Context, msg alert.Message, to string) (*mail.Msg, error) {
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
	text := msg.Text + "\n"
	if msg.To == alert.Household && m.opt.Page != nil {
		if link := m.opt.Page(ctx, msg.Case, to); link != "" {
			text += "\nHow your roof is now: " + link + "\nKeep this link to yourself. Who has it can see the page.\n"
		}
	}
	if msg.To == alert.Household && m.opt.Experts != nil {
		if experts := m.opt.Experts(msg.Case); len(experts) > 0 && x.ReplyTo(experts[0]) == nil {
			text += "\nYour roof consultant is " + experts[0] + ". You can answer this mail.\n"
		}
	}
	if link := msg.Unsubscribe; link != "" {
		// RFC 8058: one click, without opening a page.
		x.SetGenHeader("List-Unsubscribe", "<"+link+">")
		x.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
		text += "\nTo stop these mails: " + link + "\n"
	}
	x.SetBodyString(mail.TypeTextPlain, text)
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
