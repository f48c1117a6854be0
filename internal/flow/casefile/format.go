package casefile

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// Format writes a case as a case file that Parse reads back to an equal case.
// Unknown values are left out. A case that no file can say (a bad id, an
// unknown zone) is an error.
func Format(c *roof.Case) ([]byte, error) {
	w := &writer{zone: c.Property.Zone}
	w.line(0, "case", text(c.ID))
	w.property(c.Property)
	w.build(c.Roof)
	w.positions(c.Positions)
	w.loggers(c.Loggers)
	w.events(c.Events)
	w.contacts(c.Contacts)
	w.alerts(c.Alerts)
	out := []byte(w.String())
	if _, faults := Parse(c.ID+".yaml", out); len(faults) > 0 {
		return nil, fmt.Errorf("writing the case file of %q: %w", c.ID, faults)
	}
	return out, nil
}

type writer struct {
	strings.Builder
	zone *time.Location
}

// line writes one key at an indentation, nothing for an empty value.
func (w *writer) line(indent int, key, value string) {
	if value != "" {
		fmt.Fprintf(w, "%*s%s: %s\n", indent, "", key, value)
	}
}

// flow collects the keys of a mapping written on one line.
type flow []string

func (f *flow) add(key, value string) {
	if value != "" {
		*f = append(*f, key+": "+value)
	}
}

func (f flow) String() string {
	if len(f) == 0 {
		return ""
	}
	return "{" + strings.Join(f, ", ") + "}"
}

func (w *writer) property(p roof.Property) {
	w.WriteString("property:\n")
	w.line(2, "label", text(p.Label))
	w.line(2, "timezone", text(p.Timezone))
	w.line(2, "altitude_m", pointer(p.AltitudeM))
	if p.Completed != nil {
		w.line(2, "completed", w.date(*p.Completed))
	}
}

func (w *writer) build(b roof.Build) {
	section := &writer{}
	section.line(2, "pitch_deg", pointer(b.PitchDeg))
	section.line(2, "span_m", pointer(b.SpanM))
	section.line(2, "length_m", pointer(b.LengthM))
	section.line(2, "shape", text(b.Shape))
	var f flow
	f.add("material", text(b.Covering.Material))
	f.add("air", text(b.Covering.Air))
	section.line(2, "covering", f.String())
	f = nil
	f.add("class", text(b.Underlay.Class))
	f.add("air_permeable", string(b.Underlay.AirPermeable))
	f.add("sd_m", pointer(b.Underlay.SdM))
	f.add("drape_mm", pointer(b.Underlay.DrapeMM))
	f.add("laps", text(b.Underlay.Laps))
	f.add("over_ridge", string(b.Underlay.OverRidge))
	section.line(2, "underlay", f.String())
	section.line(2, "battens", text(b.Battens))
	section.line(2, "counter_batten_mm", pointer(b.CounterBattenMM))
	section.line(2, "batten_depth_mm", pointer(b.BattenDepthMM))
	section.line(2, "openings_mm", slots(b.Openings))
	f = nil
	f.add("sealed", string(b.Ceiling.Sealed))
	if b.Ceiling.Downlights != nil {
		f.add("downlights", strconv.Itoa(*b.Ceiling.Downlights))
	}
	f.add("vapour_control_layer", string(b.Ceiling.VapourControlLayer))
	section.line(2, "ceiling", f.String())
	section.line(2, "insulation", text(b.Insulation))
	section.line(2, "eaves_clear", string(b.EavesClear))
	section.line(2, "fixings", text(b.Fixings))
	section.line(2, "rule_set", text(b.RuleSet))
	if len(b.Layers) > 0 {
		section.WriteString("  layers:\n")
	}
	for _, l := range b.Layers {
		f := flow{"name: " + strconv.Quote("")}
		if l.Name != "" {
			f = flow{"name: " + text(l.Name)}
		}
		f.add("thickness_mm", given(l.ThicknessMM))
		f.add("conductivity_w_mk", given(l.ConductivityWMK))
		f.add("resistance_m2kw", given(l.ResistanceM2KW))
		f.add("mu", given(l.Mu))
		f.add("sd_m", given(l.SdM))
		section.WriteString("    - " + f.String() + "\n")
	}
	if section.Len() > 0 {
		w.WriteString("roof:\n" + section.String())
	}
}

func slots(o roof.Openings) string {
	var f flow
	f.add("loft_eaves", pointer(o.LoftEavesMM))
	f.add("loft_ridge", pointer(o.LoftRidgeMM))
	f.add("void_eaves", pointer(o.VoidEavesMM))
	f.add("void_ridge", pointer(o.VoidRidgeMM))
	return f.String()
}

func (w *writer) positions(all []roof.Position) {
	if len(all) > 0 {
		w.WriteString("positions:\n")
	}
	for _, p := range all {
		var f flow
		f.add("id", text(p.ID))
		f.add("place", text(string(p.Place)))
		f.add("meets", text(p.Meets))
		if p.Untouched {
			f.add("untouched", "true")
		}
		f.add("material", text(p.Material))
		f.add("mould_class", text(p.MouldClass))
		w.WriteString("  - " + f.String() + "\n")
	}
}

func (w *writer) loggers(all []roof.Logger) {
	if len(all) > 0 {
		w.WriteString("loggers:\n")
	}
	for _, l := range all {
		fmt.Fprintf(w, "  - id: %s\n", text(l.ID))
		w.line(4, "interval_s", given(l.Interval.Seconds()))
		var f flow
		f.add("temp_c", pointer(l.Accuracy.TempC))
		f.add("rh_pct", pointer(l.Accuracy.RHPct))
		f.add("k", given(l.Accuracy.K))
		w.line(4, "accuracy", f.String())
		if len(l.Fitted) > 0 {
			w.WriteString("    fitted:\n")
		}
		for _, x := range l.Fitted {
			var f flow
			f.add("position", text(x.Position))
			f.add("from", instant(x.From))
			f.add("to", instant(x.To))
			w.WriteString("      - " + f.String() + "\n")
		}
		if len(l.Offsets) > 0 {
			w.WriteString("    offsets:\n")
		}
		for _, o := range l.Offsets {
			var f flow
			f.add("from", instant(o.From))
			f.add("temp_c", given(o.TempC))
			f.add("rh_pct", given(o.RHPct))
			f.add("check", text(o.Check))
			f.add("temp_unc_c", pointer(o.TempUncC))
			f.add("rh_unc_pct", pointer(o.RHUncPct))
			w.WriteString("      - " + f.String() + "\n")
		}
	}
}

func (w *writer) events(all []roof.Event) {
	if len(all) > 0 {
		w.WriteString("events:\n")
	}
	for _, e := range all {
		var f flow
		f.add("at", instant(e.At))
		f.add("kind", text(string(e.Kind)))
		f.add("what", text(e.What))
		f.add("treats", list(e.Treats))
		f.add("changes", list(e.Changes))
		f.add("uncertain_h", given(e.Uncertain.Hours()))
		f.add("opened_mm", slots(e.Opened))
		f.add("battens", text(e.Battens))
		f.add("counter_batten_mm", pointer(e.CounterBattenMM))
		f.add("sealed", string(e.Sealed))
		w.WriteString("  - " + f.String() + "\n")
	}
}

func (w *writer) contacts(c roof.Contacts) {
	section := &writer{}
	section.line(2, "householder", list(c.Householder))
	section.line(2, "consultant", list(c.Consultant))
	if section.Len() > 0 {
		w.WriteString("contacts:\n" + section.String())
	}
}

func (w *writer) alerts(a roof.AlertSettings) {
	section := &writer{}
	section.line(2, "wet_hours", given(a.WetHours))
	section.line(2, "wet_nights", given(float64(a.WetNights)))
	section.line(2, "timber_pct", given(a.TimberPct))
	section.line(2, "mould_index", given(a.MouldIndex))
	section.line(2, "silent_h", given(a.SilentH))
	section.line(2, "battery_pct", given(a.BatteryPct))
	section.line(2, "quiet_from", text(a.QuietFrom))
	section.line(2, "quiet_to", text(a.QuietTo))
	section.line(2, "escalate_h", given(a.EscalateH))
	if section.Len() > 0 {
		w.WriteString("alerts:\n" + section.String())
	}
}

// date writes a day of the property as the bare date it most likely was.
func (w *writer) date(at time.Time) string {
	if w.zone != nil {
		y, m, d := at.In(w.zone).Date()
		if time.Date(y, m, d, 0, 0, 0, 0, w.zone).Equal(at) {
			return fmt.Sprintf("%04d-%02d-%02d", y, m, d)
		}
	}
	return instant(at)
}

func instant(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(time.RFC3339Nano)
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// given writes a number whose zero means that it was not given.
func given(x float64) string {
	if x == 0 {
		return ""
	}
	return decimal(x)
}

func pointer(x *float64) string {
	if x == nil {
		return ""
	}
	return decimal(*x)
}

func list[T ~string](words []T) string {
	if len(words) == 0 {
		return ""
	}
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = text(string(w))
	}
	return "[" + strings.Join(out, ", ") + "]"
}

// Plain words need no quotes, except those that some YAML reader takes for
// something else than text.
var (
	plainText = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_/-]*( [A-Za-z0-9_/-]+)*$`)
	takenWord = regexp.MustCompile(`^(?i:y|n|yes|no|on|off|true|false|null|nan|inf|unknown)$`)
)

// text writes text, nothing for none.
func text(s string) string {
	if s == "" || plainText.MatchString(s) && !takenWord.MatchString(s) {
		return s
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(s) + `"`
}
