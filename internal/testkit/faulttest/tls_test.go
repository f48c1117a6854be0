package faulttest

import (
	"crypto/tls"
	"crypto/x509"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// Row 20, the pages: with a certificate they are served over TLS and no other way.
func TestPagesWithACertificateAreNeverPlain(t *testing.T) {
	dir := t.TempDir()
	out, err := exec.Command("../../../deploy/certificates.sh", dir, "localhost", "127.0.0.1").CombinedOutput()
	require.NoError(t, err, string(out))
	conf := filepath.Join(dir, "dewcase.yaml")
	require.NoError(t, os.WriteFile(conf, []byte("http: {cert_file: "+filepath.Join(dir, "server.pem")+", key_file: "+
		filepath.Join(dir, "server.key")+"}\n"), 0o600))
	d := crashtest.Serve(t, filepath.Join(dir, "data"), "-config", conf)
	require.Regexp(t, "^https://", d.HTTP)
	ca, err := os.ReadFile(filepath.Join(dir, "ca.pem"))
	require.NoError(t, err)
	pool := x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM(ca))
	trusting := http.Client{Timeout: patience.Long,
		Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
	resp, err := trusting.Get(d.HTTP + "/healthz")
	require.NoError(t, err)
	_ = resp.Body.Close()
	require.Equal(t, http.StatusOK, resp.StatusCode)
	plain, err := (&http.Client{Timeout: 10 * time.Second}).Get("http" + d.HTTP[len("https"):] + "/healthz")
	if err == nil {
		_ = plain.Body.Close()
		require.Equal(t, http.StatusBadRequest, plain.StatusCode)
	}
	_, err = tls.Dial("tcp", d.HTTP[len("https://"):], &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS11})
	require.Error(t, err, "no old versions")
}
