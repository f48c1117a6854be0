package influx

import (
	"context"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math"
	"time"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// The measurements of derived figures, an hour and a night at a time.
const (
	ofHour         = "hour"          // tags case, position, place
	ofHourSurface  = "hour_surface"  // tags case, surface, air
	ofNightSurface = "night_surface" // tags case, surface, air; noon to noon in the property's zone
)

// figures turns a case's hourly view into points. Hours lie at their start,
// nights at the noon they begin with; what was not observed makes no field, and
// a night's minutes are the sums of its hours.
func figures(c *roof.Case, v timeline.View) []Point {
	var out []Point
	for _, p := range v.Positions {
		for i, at := range v.Time {
			out = append(out, Point{ofHour, [][2]string{{"case", c.ID}, {"position", p.Position}, {"place", string(p.Place)}},
				fields(i,
					column{"coverage", p.Coverage}, column{"temp_c", p.TempC.Mean}, column{"temp_c_min", p.TempC.Min},
					column{"temp_c_max", p.TempC.Max},
					column{"rh_pct", p.RHPct.Mean}, column{"rh_pct_min", p.RHPct.Min}, column{"rh_pct_max", p.RHPct.Max},
					column{"dew_point_c", p.DewPointC.Mean}, column{"frost_point_c", p.FrostPointC.Mean}), at})
		}
	}
	for _, s := range v.Surfaces {
		tags := [][2]string{{"case", c.ID}, {"surface", s.Surface}, {"air", s.Air}}
		for i, at := range v.Time {
			out = append(out, Point{ofHourSurface, tags, fields(i, column{"coverage", s.Coverage},
				column{"margin_k", s.MarginK.Mean}, column{"margin_k_min", s.MarginK.Min}, column{"margin_k_max", s.MarginK.Max},
				column{"condensing_min", s.CondensingMin}, column{"at_risk_min", s.AtRiskMin}, column{"frost_min", s.FrostMin}),
				at})
		}
		out = append(out, nights(c, v, s, tags)...)
	}
	return out
}

// column is a figure along the view's axis under its field's name.
type column struct {
	name string
	of   timeline.Column
}

func fields(i int, columns ...column) []Field {
	var out []Field
	for _, c := range columns {
		if c.of.Len() == 0 {
			continue
		}
		if x, ok := c.of.Get(i); ok {
			out = append(out, Field{c.name, x})
		}
	}
	return out
}

func nights(c *roof.Case, v timeline.View, s timeline.Surface, tags [][2]string) []Point {
	if len(v.Time) == 0 || s.CondensingMin.Len() == 0 {
		return nil
	}
	var out []Point
	i := 0
	for _, n := range evidence.Nights(c.Property.Zone, v.Time[0].UnixMilli(), v.Until.UnixMilli()) {
		sums := map[string]float64{}
		lowest, seen, hours := math.Inf(1), 0.0, 0
		for ; i < len(v.Time) && v.Time[i].UnixMilli() < n.UntilMS; i++ {
			hours++
			if x, ok := s.Coverage.Get(i); ok {
				seen += x
			}
			if x, ok := s.MarginK.Min.Get(i); ok {
				lowest = min(lowest, x)
			}
			for _, col := range []column{{"condensing_min", s.CondensingMin}, {"at_risk_min", s.AtRiskMin},
				{"frost_min", s.FrostMin}} {
				if x, ok := col.of.Get(i); ok {
					sums[col.name] += x
				}
			}
		}
		if seen == 0 {
			continue // not observed is no night without water
		}
		whole := float64(n.UntilMS-n.FromMS) / float64(time.Hour/time.Millisecond)
		p := Point{ofNightSurface, tags, []Field{{"coverage", seen / whole}, {"margin_k_min", lowest}},
			time.UnixMilli(n.FromMS).UTC()}
		for _, name := range []string{"condensing_min", "at_risk_min", "frost_min"} {
			p.Fields = append(p.Fields, Field{name, sums[name]})
		}
		out = append(out, p)
	}
	return out
}

// Source is where derived figures come from.
type Source struct {
	Cases   func(ctx context.Context) ([]*roof.Case, error)
	Version func(caseID string) int64 // rises with every change of a case
	Span    func(ctx context.Context, c *roof.Case) (fromMS, untilMS int64, ok bool, err error)
	View    func(ctx context.Context, c *roof.Case, fromMS, untilMS, stepMS int64) (timeline.View, error)
}

// Derived copies derived figures to an engine: hours and nights of which
// something changed, since they were last sent.
type Derived struct {
	client *Client
	from   Source
	log    *slog.Logger
	every  time.Duration
	sent   map[string]*sentCase
}

// sentCase remembers what was sent of a case: its version, and a sum over the
// points of each stretch.
type sentCase struct {
	version int64
	sums    map[int64]uint64
}

// NewDerived makes a copier that looks for changes every so often (10 min by
// default); Run runs it.
func NewDerived(client *Client, from Source, log *slog.Logger, every time.Duration) *Derived {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	if every <= 0 {
		every = 10 * time.Minute
	}
	return &Derived{client: client, from: from, log: log, every: every, sent: map[string]*sentCase{}}
}

// Run copies until the context ends.
func (d *Derived) Run(ctx context.Context) {
	for {
		if err := d.Copy(ctx); err != nil && ctx.Err() == nil {
			d.log.Warn("derived figures are not copied to InfluxDB; it is tried again", "error", err)
		}
		if !sleep(ctx, d.every) {
			return
		}
	}
}

// stretch is how much of a case is worked out at a time.
const stretch = 8 * 24 * time.Hour

// pointsAWrite is how many points one write carries.
const pointsAWrite = 5000

// Copy sends what changed since the last call, of every case.
func (d *Derived) Copy(ctx context.Context) error {
	cases, err := d.from.Cases(ctx)
	if err != nil {
		return fmt.Errorf("listing the cases: %w", err)
	}
	for _, c := range cases {
		if err := d.copy(ctx, c); err != nil {
			return fmt.Errorf("copying the figures of case %s: %w", c.ID, err)
		}
	}
	return nil
}

func (d *Derived) copy(ctx context.Context, c *roof.Case) error {
	version := d.from.Version(c.ID)
	s := d.sent[c.ID]
	if s == nil {
		s = &sentCase{version: version - 1, sums: map[int64]uint64{}}
		d.sent[c.ID] = s
	}
	if s.version == version {
		return nil
	}
	fromMS, untilMS, ok, err := d.from.Span(ctx, c)
	if err != nil || !ok {
		return err
	}
	// Whole stretches from noon to noon, so that no night is cut in two.
	all := evidence.Nights(c.Property.Zone, fromMS, untilMS+1)
	step := int(stretch / (24 * time.Hour))
	for i := 0; i < len(all); i += step {
		first, last := all[i], all[min(i+step, len(all))-1]
		v, err := d.from.View(ctx, c, first.FromMS, last.UntilMS, time.Hour.Milliseconds())
		if err != nil {
			return err
		}
		points := figures(c, v)
		h := fnv.New64a()
		var line []byte
		for k := range points {
			line = appendPoint(line[:0], &points[k])
			_, _ = h.Write(line)
		}
		if sum := h.Sum64(); s.sums[first.FromMS] != sum {
			for k := 0; k < len(points); k += pointsAWrite {
				if err := d.client.Copy(ctx, points[k:min(k+pointsAWrite, len(points))]); err != nil {
					return err
				}
			}
			s.sums[first.FromMS] = sum
		}
	}
	s.version = version
	return nil
}
