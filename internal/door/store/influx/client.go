// Package influx keeps readings in InfluxDB, or copies them there: a durable
// outbox stands between acknowledgement and the engine, points go out through
// the v2 write API and come back by InfluxQL, bit for bit, which a digest kept
// on this side proves.
package influx

import (
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
}

// requestTimeout bounds one request.
const requestTimeout = 30 * time.Second

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
	err := c.write.WriteRecord(ctx, string(b[:len(b)-1]))
	if err == nil {
		return nil
	}
	var e *influxhttp.Error
	if errors.As(err, &e) {
		switch e.StatusCode {
		case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
			return fmt.Errorf("%w: %w", ErrRefused, c.said(err))
		case http.StatusUnauthorized, http.StatusForbidden:
			return fmt.Errorf("InfluxDB does not accept the token: check influxdb.token_file: %w", c.said(err))
		case http.StatusNotFound:
			return fmt.Errorf("InfluxDB has no bucket %q: make it, or correct influxdb.bucket: %w", c.server.Bucket, c.said(err))
		}
	}
	return fmt.Errorf("writing to InfluxDB: %w", c.said(err))
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

// mostAnswer bounds what one answer may take, in bytes.
const mostAnswer = 256 << 20

func (c *Client) query(ctx context.Context, q string) ([]series, error) {
	db, policy, _ := strings.Cut(c.server.Bucket, "/")
	form := url.Values{"db": {db}, "q": {q}, "epoch": {"ms"}}
	if policy != "" {
		form.Set("rp", policy)
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimRight(c.server.URL, "/")+"/query?"+
		form.Encode(), nil)
	if err != nil {
		return nil, err
	}
	if c.server.Token != "" {
		req.Header.Set("Authorization", "Token "+c.server.Token)
		if user, password, ok := strings.Cut(c.server.Token, ":"); ok {
			req.SetBasicAuth(user, password)
		}
	}
	res, err := c.http.Do(req)
	if err != nil {
		return nil, c.said(err)
	}
	defer res.Body.Close()
	body := io.LimitReader(res.Body, mostAnswer)
	if res.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(body, 500))
		return nil, c.said(fmt.Errorf("%s: %s", res.Status, strings.TrimSpace(string(text))))
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

// Ping asks whether the engine answers queries on the bucket.
func (c *Client) Ping(ctx context.Context) error {
	if _, err := c.query(ctx, `SELECT temp_c FROM reading LIMIT 1`); err != nil {
		return fmt.Errorf("asking InfluxDB at %s: %w", c.server.URL, err)
	}
	return nil
}
