package notify

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	"github.com/stretchr/testify/require"
)

// mailServer is a real mail server of the test's own, with a mailbox on disk.
type mailServer struct {
	t             testing.TB
	Port          int
	Dir, CertFile string
	keyFile       string
	choosy        bool
	cmd           *exec.Cmd
}

// choosy is a mailbox with two addresses that it does not take: one whose box is
// full for now, one that is nobody's.
const choosy = `from aiosmtpd.handlers import Mailbox

class Choosy(Mailbox):
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("full@"):
            return "452 4.2.2 mailbox full"
        if address.startswith("nobody@"):
            return "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"
`

// startChoosyMail runs a mail server that takes mail for some only.
func startChoosyMail(t testing.TB) *mailServer {
	t.Helper()
	s := prepareMail(t)
	s.choosy = true
	require.NoError(t, os.WriteFile(filepath.Join(s.Dir, "choosy.py"), []byte(choosy), 0o600))
	s.start()
	return s
}

// startMail runs aiosmtpd (Debian: python3-aiosmtpd), which demands STARTTLS,
// on a free port. A machine without it fails the test.
func startMail(t testing.TB) *mailServer {
	t.Helper()
	s := prepareMail(t)
	s.start()
	return s
}

func prepareMail(t testing.TB) *mailServer {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := &mailServer{t: t, Port: l.Addr().(*net.TCPAddr).Port, Dir: t.TempDir()}
	require.NoError(t, l.Close())
	s.CertFile, s.keyFile = certificate(t, s.Dir)
	t.Cleanup(s.stop)
	return s
}

func (s *mailServer) start() {
	s.t.Helper()
	program, err := exec.LookPath("aiosmtpd")
	require.NoError(s.t, err, "aiosmtpd is not here: run .ci/deps")
	handler := "aiosmtpd.handlers.Mailbox"
	if s.choosy {
		handler = "choosy.Choosy"
	}
	s.cmd = exec.Command(program, "-n", "-l", fmt.Sprintf("127.0.0.1:%d", s.Port), "--tlscert", s.CertFile, "--tlskey",
		s.keyFile, "-c", handler, filepath.Join(s.Dir, "box"))
	s.cmd.Env = append(os.Environ(), "PYTHONPATH="+s.Dir)
	out, err := os.Create(filepath.Join(s.Dir, "server.log"))
	require.NoError(s.t, err)
	s.cmd.Stdout, s.cmd.Stderr = out, out
	require.NoError(s.t, s.cmd.Start())
	patience.Until(s.t, "the mail server comes up", func() bool {
		c, err := net.DialTimeout("tcp", fmt.Sprintf("127.0.0.1:%d", s.Port), time.Second)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

func (s *mailServer) stop() {
	if s.cmd != nil && s.cmd.Process != nil {
		_ = s.cmd.Process.Kill()
		_ = s.cmd.Wait()
		s.cmd = nil
	}
}

// letters are the mails in the box, as received.
func (s *mailServer) letters() (out []string) {
	files, _ := filepath.Glob(filepath.Join(s.Dir, "box", "new", "*"))
	for _, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(s.t, err)
		out = append(out, string(b))
	}
	return out
}

// certificate makes one for this machine, good for an hour.
func certificate(t testing.TB, dir string) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true,
		BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &k.PublicKey, k)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	require.NoError(t, os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
	return cert, key
}
