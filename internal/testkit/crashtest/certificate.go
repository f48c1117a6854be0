package crashtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Certificate makes a certificate that signs itself, for 127.0.0.1 and the names
// given, valid until then, with its key; both as PEM.
func Certificate(t testing.TB, serial int64, until time.Time, names ...string) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	is := x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "dewcase"},
		NotBefore: until.Add(-90 * 24 * time.Hour), NotAfter: until, IPAddresses: []net.IP{{127, 0, 0, 1}}, DNSNames: names}
	der, err := x509.CreateCertificate(rand.Reader, &is, &is, &k.PublicKey, k)
	require.NoError(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})),
		string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}))
}
