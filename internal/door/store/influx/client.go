// Package influx keeps readings in InfluxDB, or mirrors them there. A durable
// outbox stands between the acknowledgement and the engine. Points are written
// through the v2 write API (before InfluxDB 1.8: /write) and read back by
// InfluxQL; a digest kept locally proves that they come back bit for bit.
package influx

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"

	"dewcase/internal/roof"
)

// Server says where the engine is.
type Server struct {
	URL    string
	Org    string // InfluxDB 2 and 3
	Bucket string // or database; "database/policy" names a retention policy of InfluxDB 1
	Token  string // for InfluxDB 1 "user:password"; "" for none
}

// Client speaks to one engine.
type Client struct {
	server Server
	http   *http.Client
	api    influxdb2.Client
	write  api.WriteAPIBlocking
	asked  atomic.Pointer[string] // the engine's version; nil: not asked yet
}

// requestTimeout bounds one request, askTimeout the question for the version.
const (
	requestTimeout = 30 * time.Second
	askTimeout     = 10 * time.Second
)

// NewClient makes a client; nothing is sent yet.
func NewClient(s Server) (*Client, error) {
	u, err := url.Parse(s.URL)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, fmt.Errorf("the address %q of InfluxDB is not of the form http://HOST:PORT", s.URL)
	}
	if s.Bucket == "" {
		return nil, errors.New("InfluxDB needs a bucket (or database) to write to")
	}
	c := &Client{server: s, http: &http.Client{Timeout: requestTimeout,
		Transport: &http.Transport{MaxIdleConnsPerHost: 4, IdleConnTimeout: time.Minute, Proxy: http.ProxyFromEnvironment}}}
	// The blocking writer without batching: what it returns is what became of
	// the write. No retries of its own, the outbox does that.
	c.api = influxdb2.NewClientWithOptions(s.URL, s.Token, influxdb2.DefaultOptions().
		SetPrecision(time.Millisecond).SetUseGZip(true).SetHTTPClient(c.http).SetMaxRetries(0).SetLogLevel(0))
	c.write = c.api.WriteAPIBlocking(s.Org, s.Bucket)
	return c, nil
}

// Close ends idle connections.
func (c *Client) Close() {
	c.api.Close()
	c.http.CloseIdleConnections()
}

// ErrRefused is wrapped when the engine will not have a point, now or later.
var ErrRefused = errors.New("InfluxDB refused it")

// errSetUp is wrapped when nothing will be written before somebody corrects the
// configuration or the engine.
var errSetUp = errors.New("it is not set up for dewcase")

// errWriteOnly is wrapped when what was written cannot be read back.
var errWriteOnly = errors.New("what is written to it cannot be read back by InfluxQL: it is good for a mirror " +
	"(influxdb.mirror) only")

// Write sends readings; all of them are stored when it returns nil.
func (c *Client) Write(ctx context.Context, readings []roof.Outgoing) error {
	b := make([]byte, 0, 160*len(readings))
	for i := range readings {
		if at := readings[i].Reading.At; at.Before(earliest) || !at.Before(latest) {
			return fmt.Errorf("%w: logger %s: the time %s is outside the years that it can keep (1678 to 2261)", ErrRefused,
				readings[i].Reading.Logger, at.Format(time.RFC3339))
		}
		b = appendLine(b, &readings[i])
	}
	return c.lines(ctx, b)
}

// Copy sends derived figures.
func (c *Client) Copy(ctx context.Context, points []Point) error {
	b := make([]byte, 0, 160*len(points))
	for i := range points {
		b = appendPoint(b, &points[i])
	}
	return c.lines(ctx, b)
}

func (c *Client) lines(ctx context.Context, b []byte) error {
	if len(b) == 0 {
		return nil
	}
	version, err := c.version(ctx)
	if err != nil {
		return fmt.Errorf("writing to InfluxDB: asking for its version: %w", c.said(err))
	}
	if withoutV2(version) {
		err = c.writeV1(ctx, b)
	} else {
		err = c.write.WriteRecord(ctx, string(b[:len(b)-1]))
	}
	if err == nil {
		return nil
	}
	var e *influxhttp.Error
	if errors.As(err, &e) {
		switch e.StatusCode {
		case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
			return fmt.Errorf("%w: %w", ErrRefused, c.said(err))
		case http.StatusUnauthorized, http.StatusForbidden:
			return fmt.Errorf("%w: InfluxDB does not accept the token: check influxdb.token_file: %w", errSetUp, c.said(err))
		case http.StatusNotFound:
			c.asked.Store(nil) // it may be another engine by now
			if version == "" {
				version = "which does not say its version, "
			} else {
				version = "version " + version + ", "
			}
			return fmt.Errorf("%w: InfluxDB, %shas no bucket %q: make it, or correct influxdb.bucket: %w", errSetUp, version,
				c.server.Bucket, c.said(err))
		}
	}
	return fmt.Errorf("writing to InfluxDB: %w", c.said(err))
}

// version asks the engine, once, which one it is; "" where it does not say.
func (c *Client) version(ctx context.Context) (string, error) {
	if v := c.asked.Load(); v != nil {
		return *v, nil
	}
	ctx, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	res, err := c.do(ctx, http.MethodGet, "/ping", nil, nil)
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	if res.StatusCode >= http.StatusInternalServerError {
		return "", errors.New(res.Status)
	}
	v := res.Header.Get("X-Influxdb-Version")
	c.asked.Store(&v)
	return v, nil
}

// withoutV2 reports whether an engine of that version lacks the v2 write API:
// InfluxDB before 1.8.
func withoutV2(version string) bool {
	var major, minor int
	_, err := fmt.Sscanf(strings.TrimPrefix(version, "v"), "%d.%d", &major, &minor)
	return err == nil && (major < 1 || major == 1 && minor < 8)
}

// writeV1 writes by /write, the only way that InfluxDB had before 1.8; the
// client library does not speak it.
func (c *Client) writeV1(ctx context.Context, b []byte) error {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := z.Write(b); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	res, err := c.do(ctx, http.MethodPost, "/write", url.Values{"precision": {"ms"}}, &packed)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(io.LimitReader(res.Body, 4<<10))
	if err != nil || res.StatusCode/100 == 2 {
		return err
	}
	return &influxhttp.Error{StatusCode: res.StatusCode, Code: res.Status, Message: strings.TrimSpace(string(text))}
}

// do sends a request of the API of InfluxDB 1 about the database.
func (c *Client) do(ctx context.Context, method, path string, form url.Values, packed io.Reader) (*http.Response,
	error) {
	address := strings.TrimRight(c.server.URL, "/") + path
	if form != nil {
		db, policy, _ := strings.Cut(c.server.Bucket, "/")
		form.Set("db", db)
		if policy != "" {
			form.Set("rp", policy)
		}
		address += "?" + form.Encode()
	}
	req, err := http.NewRequestWithContext(ctx, method, address, packed)
	if err != nil {
		return nil, err
	}
	if packed != nil {
		req.Header.Set("Content-Encoding", "gzip")
	}
	if c.server.Token != "" {
		req.Header.Set("Authorization", "Token "+c.server.Token)
		if user, password, ok := strings.Cut(c.server.Token, ":"); ok {
			req.SetBasicAuth(user, password)
		}
	}
	return c.http.Do(req)
}

// said is an error without the token, whatever the engine or the transport put
// into it.
func (c *Client) said(err error) error {
	if c.server.Token != "" && strings.Contains(err.Error(), c.server.Token) {
		return errors.New(strings.ReplaceAll(err.Error(), c.server.Token, "[token]"))
	}
	return err
}

var quantityColumns = func() string {
	var names []string
	for q := range roof.Quantity(roof.QuantityCount) {
		names = append(names, q.String())
	}
	return strings.Join(append(names, fieldFlags, fieldArrived), ",")
}()

// Readings reads what the engine holds of a logger in [from, until), in time
// order.
func (c *Client) Readings(ctx context.Context, caseID, logger string, from, until time.Time) ([]roof.Reading, error) {
	q := fmt.Sprintf(`SELECT %s FROM %s WHERE "case"='%s' AND "logger"='%s' AND time >= '%s' AND time < '%s'`,
		quantityColumns, ofReading, tag(caseID), tag(logger), stamp(from), stamp(until))
	series, err := c.query(ctx, q)
	if err != nil {
		return nil, fmt.Errorf("reading logger %s of case %s from InfluxDB: %w", logger, caseID, err)
	}
	var out []roof.Reading
	for _, s := range series {
		for _, row := range s.Values {
			r, err := readRow(s.Columns, row)
			if err != nil {
				return nil, fmt.Errorf("reading logger %s of case %s from InfluxDB: %w", logger, caseID, err)
			}
			r.Logger = logger
			out = append(out, r)
		}
	}
	if !slices.IsSortedFunc(out, func(a, b roof.Reading) int { return a.At.Compare(b.At) }) {
		slices.SortFunc(out, func(a, b roof.Reading) int { return a.At.Compare(b.At) })
	}
	return out, nil
}

func stamp(t time.Time) string {
	if t.Before(earliest) {
		t = earliest
	}
	if t.After(latest) {
		t = latest
	}
	return t.UTC().Format("2006-01-02T15:04:05.000Z")
}

func readRow(columns []string, row []*json.Number) (r roof.Reading, err error) {
	for i, name := range columns {
		if i >= len(row) || row[i] == nil {
			continue
		}
		text := row[i].String()
		switch q, ok := roof.ParseQuantity(name); {
		case ok:
			x, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return r, err
			}
			r.Values.Set(q, x)
		case name == "time", name == fieldArrived:
			ms, err := wholeNumber(text)
			if err != nil {
				return r, err
			}
			if name == "time" {
				r.At = time.UnixMilli(ms).UTC()
			} else {
				r.Arrived = time.UnixMilli(ms).UTC()
			}
		case name == fieldFlags:
			f, err := wholeNumber(text)
			if err != nil {
				return r, err
			}
			r.Flags = roof.Flags(f)
		}
	}
	return r, nil
}

// wholeNumber reads a count that went through a float.
func wholeNumber(text string) (int64, error) {
	if n, err := strconv.ParseInt(text, 10, 64); err == nil {
		return n, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || x != float64(int64(x)) {
		return 0, fmt.Errorf("%q is not a whole number", text)
	}
	return int64(x), nil
}

// series is a part of an InfluxQL answer.
type series struct {
	Columns []string         `json:"columns"`
	Values  [][]*json.Number `json:"values"`
}

// maxAnswer bounds what one answer may take, in bytes.
const maxAnswer = 256 << 20

func (c *Client) query(ctx context.Context, q string) ([]series, error) {
	res, err := c.do(ctx, http.MethodGet, "/query", url.Values{"q": {q}, "epoch": {"ms"}}, nil)
	if err != nil {
		return nil, c.said(err)
	}
	defer res.Body.Close()
	body := io.LimitReader(res.Body, maxAnswer)
	if res.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(body, 500))
		return nil, &influxhttp.Error{StatusCode: res.StatusCode, Code: res.Status,
			Message: c.said(errors.New(strings.TrimSpace(string(text)))).Error()}
	}
	var answer struct {
		Results []struct {
			Series  []series `json:"series"`
			Error   string   `json:"error"`
			Partial bool     `json:"partial"`
		} `json:"results"`
		Error string `json:"error"`
	}
	d := json.NewDecoder(body)
	if err := d.Decode(&answer); err != nil {
		return nil, fmt.Errorf("the answer is no InfluxQL answer: %w", err)
	}
	if answer.Error != "" {
		return nil, errors.New(answer.Error)
	}
	var out []series
	for _, r := range answer.Results {
		if r.Error != "" {
			return nil, errors.New(r.Error)
		}
		if r.Partial {
			return nil, errors.New("the answer was cut short by the server's row limit: raise max-row-limit")
		}
		out = append(out, r.Series...)
	}
	return out, nil
}

// probe is the measurement of what RoundTrip writes.
const probe = "dewcase_probe"

// RoundTrip writes a point and reads it back. An engine that takes it and does
// not give it back is errWriteOnly.
func (c *Client) RoundTrip(ctx context.Context) error {
	at := time.Now().UTC().Truncate(time.Millisecond)
	if err := c.Copy(ctx, []Point{{probe, nil, []Field{{"value", float64(at.UnixMilli())}}, at}}); err != nil {
		return err
	}
	until, cancel := context.WithTimeout(ctx, askTimeout)
	defer cancel()
	for {
		asking, stop := context.WithTimeout(ctx, askTimeout)
		found, err := c.query(asking, fmt.Sprintf(`SELECT value FROM %s WHERE time = '%s'`, probe, stamp(at)))
		stop()
		if err == nil && len(found) > 0 && len(found[0].Values) > 0 {
			return nil
		}
		if !sleep(until, 200*time.Millisecond) {
			var answer *influxhttp.Error
			switch {
			case err == nil:
				return fmt.Errorf("InfluxDB at %s: %w", c.server.URL, errWriteOnly)
			case errors.As(err, &answer) && answer.StatusCode < http.StatusInternalServerError:
				return fmt.Errorf("InfluxDB at %s: %w: %w", c.server.URL, errWriteOnly, err)
			}
			return fmt.Errorf("reading back from InfluxDB at %s: %w", c.server.URL, err)
		}
	}
}

// Ping asks whether the engine answers queries on the bucket.
func (c *Client) Ping(ctx context.Context) error {
	if _, err := c.query(ctx, `SELECT temp_c FROM reading LIMIT 1`); err != nil {
		return fmt.Errorf("asking InfluxDB at %s: %w", c.server.URL, err)
	}
	return nil
}
