// Command grafana writes the ready-made Grafana dashboards: the roof over the
// figures copied to InfluxDB, and the daemon over its Prometheus metrics. Each
// panel says in its description which decision it serves.
package main

//lint:file-ignore SA1019 the older form of a dashboard is the one that every Grafana in use imports

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: grafana FOLDER")
		os.Exit(2)
	}
	files, err := Files()
	if err == nil {
		err = os.MkdirAll(os.Args[1], 0o755)
	}
	for name, text := range files {
		if err == nil {
			err = os.WriteFile(filepath.Join(os.Args[1], name), text, 0o644)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "grafana: "+err.Error())
		os.Exit(1)
	}
}

// InfluxQL is one query of a panel over InfluxDB, as Grafana's data source of
// that name keeps it.
type InfluxQL struct {
	RefID        string `json:"refId"`
	Query        string `json:"query"`
	RawQuery     bool   `json:"rawQuery"`
	ResultFormat string `json:"resultFormat"`
	Alias        string `json:"alias,omitempty"`
}

// ImplementsDataqueryVariant marks it as a query.
func (InfluxQL) ImplementsDataqueryVariant() {}

// DataqueryType is the data source's kind.
func (InfluxQL) DataqueryType() string { return "influxdb" }

// Validate finds nothing wrong by itself: a test asks a real InfluxDB.
func (InfluxQL) Validate() error { return nil }

// Equals compares two queries.
func (q InfluxQL) Equals(other variants.Dataquery) bool {
	o, ok := other.(InfluxQL)
	return ok && o == q
}

// Build hands it to a panel.
func (q InfluxQL) Build() (variants.Dataquery, error) { return q, nil }

// panel is one picture: what it shows, which decision it serves, and from where.
type panel struct {
	title, serves, unit string
	width               uint32
	bars                bool
	min                 *float64
	queries             []query
}

// query is one query of a panel and how its lines are named.
type query struct{ text, legend string }

func zero() *float64 { var x float64; return &x }

// of is the part of each InfluxQL query that picks the case and the span.
const of = `"case" =~ /^$case$/ AND $timeFilter`

func roofPanels() []panel {
	hourly := func(field, aggregate, measurement, tag string) string {
		return `SELECT ` + aggregate + `("` + field + `") FROM "` + measurement + `" WHERE ` + of +
			` GROUP BY time($__interval), "` + tag + `" fill(none)`
	}
	nightly := func(field string) string {
		return `SELECT "` + field + `" FROM "night_surface" WHERE ` + of + ` GROUP BY "surface"`
	}
	return []panel{
		{title: "How near each surface came to dew", serves: "Where to look first, and whether it is wet now: water forms " +
			"where a line is at 0 K or below.", unit: "kelvin", width: 24,
			queries: []query{{hourly("margin_k_min", "min", "hour_surface", "surface"), "$tag_surface"}}},
		{title: "Water each night", serves: "Whether a repair helped: the bars of a surface before it and after it, on " +
			"nights of like weather.", unit: "m", width: 12, bars: true, min: zero(),
			queries: []query{{nightly("condensing_min"), "$tag_surface"}}},
		{title: "At risk each night", serves: "Whether nights without water were near it (within 1 K), so that a mild " +
			"spell is not taken for a cure.", unit: "m", width: 12, bars: true, min: zero(),
			queries: []query{{nightly("at_risk_min"), "$tag_surface"}}},
		{title: "Observed share of each night", serves: "Which nights may be compared at all: below 0.8 a night says " +
			"nothing, and no water there is no dry night.", unit: "percentunit", width: 12, bars: true, min: zero(),
			queries: []query{{nightly("coverage"), "$tag_surface"}}},
		{title: "Frost each night", serves: "Whether a thaw will bring drips: minutes of water that froze.", unit: "m",
			width: 12, bars: true, min: zero(),
			queries: []query{{nightly("frost_min"), "$tag_surface"}}},
		{title: "Dew point by position", serves: "Whose moisture it is: a loft that follows indoors leaks house air, one " +
			"that follows outdoors does not.", unit: "celsius", width: 12,
			queries: []query{{hourly("dew_point_c", "mean", "hour", "position"), "$tag_position"}}},
		{title: "Temperature by position", serves: "Whether a covering falls below the air outside on clear nights, which " +
			"wets it without any defect.", unit: "celsius", width: 12,
			queries: []query{{hourly("temp_c", "mean", "hour", "position"), "$tag_position"}}},
		{title: "Relative humidity by position", serves: "Whether wood and felt can dry: weeks above 80 % are what mould " +
			"needs.", unit: "percent", width: 12, min: zero(),
			queries: []query{{hourly("rh_pct", "mean", "hour", "position"), "$tag_position"}}},
		{title: "Readings a day by logger", serves: "Which logger to visit: a line that falls is a battery or a link that " +
			"fails.", unit: "short", width: 12, bars: true, min: zero(),
			queries: []query{{`SELECT count("temp_c") FROM "reading" WHERE ` + of + ` GROUP BY time(1d), "logger" fill(none)`,
				"$tag_logger"}}},
		{title: "Batteries", serves: "When to bring new ones, before the winter that is to be compared has a hole.",
			unit: "percent", width: 24, min: zero(),
			queries: []query{{`SELECT last("battery_pct") FROM "reading" WHERE ` + of +
				` GROUP BY time(1d), "logger" fill(none)`, "$tag_logger"}}},
	}
}

func daemonPanels() []panel {
	return []panel{
		{title: "Readings stored", serves: "Whether loggers are heard at all: none for an hour is the broker, the network " +
			"or a password.", unit: "short", width: 12, min: zero(),
			queries: []query{{`sum(increase(dewcase_readings_stored_total[1h]))`, "stored in the hour"},
				{`sum(increase(dewcase_readings_duplicate_total[1h]))`, "said again"}}},
		{title: "What could not be used", serves: "Which logger or mapping to put right: the reason stands in the legend, " +
			"the messages on the page Not understood.", unit: "short", width: 12, bars: true, min: zero(),
			queries: []query{{`sum by (reason) (increase(dewcase_readings_rejected_total[1h])) > 0`, "{{reason}}"},
				{`sum(increase(dewcase_readings_conflict_total[1h]))`, "contradictions"}}},
		{title: "Store", serves: "Whether to look at the disk now: nothing is acknowledged while it fails, and a queue " +
			"that stays up says it is slow.", unit: "short", width: 12, min: zero(),
			queries: []query{{`max(dewcase_store_failing)`, "failing"}, {`max(dewcase_store_queue)`, "appends waiting"},
				{`sum(rate(dewcase_store_commits_total[5m]))`, "commits a second"}}},
		{title: "MQTT", serves: "Whether messages become durable as they come: the two lines lie on each other, the third " +
			"stays at 0.", unit: "short", width: 12, min: zero(),
			queries: []query{{`sum(increase(dewcase_mqtt_messages_total[5m]))`, "arrived"},
				{`sum(increase(dewcase_mqtt_acknowledged_total[5m]))`, "acknowledged"},
				{`sum(increase(dewcase_mqtt_not_durable_total[5m]))`, "could not be stored"}}},
		{title: "Broker", serves: "Whether to look at the broker or at a second program under our name: connected is 1, " +
			"and few connections are made.", unit: "short", width: 12, min: zero(),
			queries: []query{{`min(dewcase_mqtt_connected)`, "connected"},
				{`sum(increase(dewcase_mqtt_connections_total[1h]))`, "connections in the hour"},
				{`sum(dewcase_mqtt_clients)`, "clients of the embedded one"},
				{`sum(increase(dewcase_mqtt_failed_logins_total[1h]))`, "refused logins"}}},
		{title: "Waiting for InfluxDB", serves: "Whether the other dashboard can be believed: what waits is safe here and " +
			"not there yet; what was refused never will be.", unit: "short", width: 12, min: zero(),
			queries: []query{{`sum(dewcase_outbox_readings)`, "waiting"}, {`sum(dewcase_outbox_refused)`, "refused"},
				{`sum(rate(dewcase_outbox_written_total[5m]))`, "written a second"}}},
		{title: "Messages to people", serves: "Whether the household was told: a channel that fails needs its address or " +
			"password looked at.", unit: "short", width: 12, min: zero(),
			queries: []query{{`sum by (channel) (dewcase_messages_waiting)`, "{{channel}} waiting"},
				{`max by (channel) (dewcase_messages_failing)`, "{{channel}} failing"}}},
		{title: "Memory", serves: "Whether the board is large enough: the unit stops the daemon at 512 MiB.", unit: "bytes",
			width: 12, min: zero(),
			queries: []query{{`sum(process_resident_memory_bytes{job=~"dewcase.*"})`, "resident"}}},
	}
}

// Files are the dashboards by their files' names.
func Files() (map[string][]byte, error) {
	influx := common.DataSourceRef{Type: cog.ToPtr("influxdb"), Uid: cog.ToPtr("${source}")}
	prom := common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${source}")}
	roof := dashboard.NewDashboardBuilder("One roof, night by night").Uid("dewcase-roof").
		Description("Margins, water and moisture of one house, from the figures that dewcase copies to InfluxDB. dewcase "+
			"itself gives the verdicts, with their intervals.").
		Tags([]string{"dewcase"}).Time("now-60d", "now").Timezone("browser").Readonly().
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("InfluxDB").Type("influxdb")).
		WithVariable(dashboard.NewQueryVariableBuilder("case").Label("House").Datasource(influx).Refresh(
			dashboard.VariableRefreshOnDashboardLoad).
			Query(dashboard.StringOrMap{String: cog.ToPtr(casesQuery)}))
	daemon := dashboard.NewDashboardBuilder("The daemon that watches").Uid("dewcase-daemon").
		Description("Whether dewcase hears its loggers, keeps what it hears, and reaches people; from its /metrics.").
		Tags([]string{"dewcase"}).Time("now-7d", "now").Timezone("browser").Readonly().
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Prometheus").Type("prometheus"))
	for _, p := range roofPanels() {
		b := p.builder(influx)
		for i, q := range p.queries {
			b = b.WithTarget(InfluxQL{RefID: string(rune('A' + i)), Query: q.text, RawQuery: true, ResultFormat: "time_series",
				Alias: q.legend})
		}
		roof = roof.WithPanel(b)
	}
	for _, p := range daemonPanels() {
		b := p.builder(prom)
		for i, q := range p.queries {
			b = b.WithTarget(prometheus.NewDataqueryBuilder().RefId(string(rune('A' + i))).Expr(q.text).LegendFormat(q.legend))
		}
		daemon = daemon.WithPanel(b)
	}
	out := map[string][]byte{}
	for name, b := range map[string]*dashboard.DashboardBuilder{"roof.json": roof, "daemon.json": daemon} {
		d, err := b.Build()
		if err != nil {
			return nil, fmt.Errorf("building %s: %w", name, err)
		}
		text, err := json.MarshalIndent(d, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("writing %s: %w", name, err)
		}
		out[name] = append(text, '\n')
	}
	return out, nil
}

// casesQuery lists the houses to choose from.
const casesQuery = `SHOW TAG VALUES FROM "reading" WITH KEY = "case"`

func (p panel) builder(from common.DataSourceRef) *timeseries.PanelBuilder {
	b := timeseries.NewPanelBuilder().Title(p.title).Description(p.serves).Datasource(from).Unit(p.unit).Span(
		p.width).Height(8).
		Legend(common.NewVizLegendOptionsBuilder().ShowLegend(true).DisplayMode(common.LegendDisplayModeList).Placement(
			common.LegendPlacementBottom)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderNone)).
		SpanNulls(common.BoolOrFloat64{Bool: cog.ToPtr(false)}) // a gap is no data, and is not drawn over
	if p.min != nil {
		b = b.Min(*p.min)
	}
	if p.bars {
		b = b.DrawStyle(common.GraphDrawStyleBars).FillOpacity(60)
	}
	return b
}
