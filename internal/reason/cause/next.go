package cause

import (
	"fmt"
	"math"
	"strings"

	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

const cannotTell = "The loggers cannot tell a leaking ceiling from blocked openings"

// notes says what must stand beside the finding.
func (a *assessment) notes(f *Finding) {
	note := func(format string, args ...any) { f.Notes = append(f.Notes, fmt.Sprintf(format, args...)) }
	s := a.support
	if f.Leading == CeilingLeakage || f.Leading == BlockedVentilation || s[CeilingLeakage]+s[BlockedVentilation] > 0.3 {
		if a.survey.openingsKnown {
			note("%s: the two are told apart by the survey alone, here by loft openings of %.0f %% of what is needed. If the "+
				"survey is wrong about what is open, so is that choice.", cannotTell, 100*a.survey.share)
		} else {
			note("%s, and the openings are not on the survey.", cannotTell)
		}
	}
	switch f.Finding {
	case NoneFound, NightSkyCooling, CeilingLeakage, BlockedVentilation:
		if s[WaterIngress] > 0.1 {
			note("A small or local leak is not excluded: look after rain.")
		}
	}
	if by, _ := leading(a.alone); f.Finding != Undetermined && !sameFamily(by, f.Finding) {
		note("The readings alone lean to “%s” (%s); what was seen on the survey turned the answer.", by.Words(),
			words.Share(a.alone[by]))
	}
	if f.Finding == WaterIngress {
		note("Rain and plumbing are not told apart by the loggers.")
	}
	if f.Finding == NightSkyCooling || f.Finding == NoneFound {
		note("The line between dew on clear nights and no condensation problem is drawn by convention at about 30 wet " +
			"hours " +
			"in 30 days; neither is a defect.")
	}
	if a.g.days() < aloneOnDate && (s[WaterIngress] > 0.15 || s[ConstructionMoist] > 0.15) {
		note("With under 60 days of readings drying out and a leak are told apart by the handover date alone.")
	}
	if el := a.f.value[fEl]; known(el) && el < dryLoftPa {
		note("The outdoor or loft logger is off by at least %.0f Pa, about %.1f %%RH: nothing in a loft removes water, so "+
			"check the two side by side.", -el, 100*-el/a.f.outSatPa)
	}
	if len(a.capWhy) > 0 {
		note("Support is held to %.1f at most because %s.", cappedSupport, strings.Join(a.capWhy, " and "))
	}
	if n := f.AirChanges; n != nil {
		note("Apparent air change of the loft: about %.2g (%.2g to %.2g) an hour, for an ordinary amount of bare timber; "+
			"more wood makes it read low.", n[0], n[1], n[2])
	}
	if line := a.rain(); line != "" {
		note("%s", line)
	}
}

// sameFamily says that two causes are one to the loggers.
func sameFamily(a, b Cause) bool {
	house := func(c Cause) bool { return c == CeilingLeakage || c == BlockedVentilation }
	return a == b || house(a) && house(b)
}

// step adds one thing to do, with the cautions it needs named by activity.
func (f *Finding) step(do caution.Activity, format string, args ...any) bool {
	if len(f.Next) < 2 {
		f.Next = append(f.Next, words.Typeset(fmt.Sprintf(format, args...)))
		if do != "" {
			f.Activities = append(f.Activities, do)
		}
	}
	return true
}

var fitWords = map[roof.Place]string{
	roof.OutdoorAir:        "outdoors, in the shade (or import the hourly readings of the nearest weather station)",
	roof.IndoorAir:         "in a living room or landing",
	roof.LoftAir:           "in the loft, 1 m above the insulation",
	roof.BattenVoidAir:     "in the void, at mid-slope on the colder side",
	roof.CoveringUnderside: "on the underside of the covering at the same spot, in contact",
	roof.UnderlayUnderside: "on the underside of the underlay",
}

// next says what to fit, look at or wait for: the first rule of section 8 that
// applies and at most one more. A firm finding with nothing open needs none, and
// a roof that was worked on since cannot be looked at as it was.
func (a *assessment) next(f *Finding) {
	if work := f.Window.Repair; !work.IsZero() {
		if !f.Firm {
			f.step("", "The cause can be settled no further: the work of %s changed the roof. Whether that work helped is "+
				"what now speaks for the cause or against it.",
				day(work.UnixMilli(), a.set.Case.Property.Zone))
		}
		return
	}
	s := a.support
	lead := f.Leading
	undetermined := f.Finding == Undetermined
	wet := s[WaterIngress] > 0.15 || s[ConstructionMoist] > 0.15
	if undetermined {
		a.fitNext(f, wet)
		if !a.survey.openingsKnown && (lead == CeilingLeakage || lead == BlockedVentilation ||
			s[CeilingLeakage]+s[BlockedVentilation] > 0.5) {
			f.step(caution.LookInLoft, "%s. Look at the eaves from inside: is light visible, is insulation pushed against "+
				"the underlay, is the slot cut through? Write it into the case file in mm, and the pitch (keys "+
				"openings_mm.loft_eaves, pitch_deg).", cannotTell)
		}
	}
	house := s[CeilingLeakage] + s[BlockedVentilation]
	if s[WaterIngress] > 0.15 && house > 0.15 {
		f.step(caution.LookInLoft, "Look for a wet patch, stains below flashings, valleys, pipes and tanks after the next "+
			"rain; read timber moisture at the wettest rafter and 3 m away. A local wet spot means ingress, an even one "+
			"house air.")
	}
	if s[WaterIngress] > 0.15 && s[ConstructionMoist] > 0.15 {
		enter, wait, turn := "", "Wait", "Turn"
		if a.c.Property.Completed == nil {
			enter, wait, turn = "Enter the handover date (completed); ", "wait", "turn"
		}
		if more := math.Ceil(aloneOnDate - a.g.days()); more > 0 {
			f.step("", "%s%s %.0f more days: drying out fades, a leak does not. Or turn the water off overnight and read the "+
				"meter.", enter, wait, more)
		} else {
			f.step("", "%s%s the water off overnight and read the meter: drying out fades over the weeks, a leak does not.",
				enter, turn)
		}
	}
	if s[UnventedBattenVoid] > 0.15 && (s[WaterIngress] > 0.15 || house > 0.15) {
		// What the survey has found already need not be found again, only made
		// sure of where the answer hangs on it.
		if b := a.c.Roof; b.Underlay.Class == "" || b.Battens == "" {
			f.step(caution.LiftCover, "Find the underlay's class (label, or lift one slate) and whether the battens are "+
				"counter-battened.")
		} else {
			f.step(caution.LiftCover, "Lift one slate at mid-slope on a cold morning: water beading under it with a dry "+
				"underlay below points to the void; make sure of the underlay's class and the battens while it is up.")
		}
	}
	if f.With != "" && a.post[stateVC] >= mixedPosterior {
		f.step(caution.SealCeiling, "Shut off one of the two for a trial: seal the ceiling (hatch and downlights) for "+
			"three weeks and compare.")
	}
	if s[NightSkyCooling] > 0.15 && (s[NoneFound] > 0.15 || s[WaterIngress] > 0.15) {
		if more := 7 - a.clear; more > 0 {
			f.step("", "Compare with a neighbour's covering or a plate outdoors on a clear night; wait for %d clear nights.",
				more)
		} else {
			f.step("", "Compare with a neighbour's covering or a plate outdoors on a clear night.")
		}
	}
	if el := a.f.value[fEl]; known(el) && el < dryLoftPa {
		f.step(caution.FitLogger, "Put outdoor and loft loggers side by side for 24 h.")
	}
	if !f.Firm && len(f.Next) == 0 {
		a.lookFor(f, lead)
	}
	if more := a.wait(wet); !f.Firm && more > 0 && len(f.Next) < 2 && !waits(f.Next) {
		f.step("", "Let the loggers run on: %d more nights below 5 °C, of which at least 5 clear, may make the answer "+
			"firmer.",
			more)
	}
}

// lookFor is what a person can look at to make a cause firmer or to rule it
// out, where no rule of the method says more.
func (a *assessment) lookFor(f *Finding, c Cause) {
	switch c {
	case CeilingLeakage:
		f.step(caution.LookInLoft, "Look for the paths of house air: hatch, downlights, pipes, and try them with a smoke "+
			"pencil on a cold day.")
	case BlockedVentilation:
		f.step(caution.LookInLoft, "Look along the eaves from inside on a bright day: where no light shows, the opening "+
			"leads nowhere.")
	case WaterIngress:
		f.step(caution.LookInLoft, "Look for a wet patch after the next rain, and read the water meter overnight with the "+
			"water turned off.")
	case UnventedBattenVoid:
		f.step(caution.LiftCover, "Confirm the underlay's class and that the battens have no counter-battens.")
	case NightSkyCooling:
		f.step("", "Compare with a neighbour's covering or a plate outdoors on a clear night: cooling by the sky wets "+
			"them too.")
	case ConstructionMoist:
		f.step(caution.LookInLoft, "Read the moisture of the loft's timber now and again in four weeks: drying out shows "+
			"as a fall everywhere.")
	default:
		f.step(caution.LookInLoft, "Look in the loft on the morning after a clear cold night, and again after rain: a dry "+
			"loft confirms the answer.")
	}
}

// waits says that a step asks for more time already.
func waits(steps []string) bool {
	for _, s := range steps {
		if strings.Contains(strings.ToLower(s), "wait") {
			return true
		}
	}
	return false
}

// wait is how many nights below 5 C are still worth having; none where the
// record has what the method wants.
func (a *assessment) wait(wet bool) int {
	m := 21
	if wet {
		m = 60
	}
	return max(m-a.cold, 0)
}

// fitNext is rule 1: what is missing of the needed places.
func (a *assessment) fitNext(f *Finding, wet bool) {
	seen := map[roof.Place]bool{}
	var fit []string
	for _, place := range wanted {
		if a.p.of(place).empty() && a.matters(place) && !seen[place] {
			seen[place] = true
			fit = append(fit, fitWords[place])
		}
	}
	m := 21
	if wet {
		m = 60
	}
	switch {
	case len(fit) > 0:
		what := "a logger"
		if len(fit) > 1 {
			what = "loggers"
		}
		f.step(caution.FitLogger, "Fit %s %s; then wait for %d nights below 5 °C of which at least 5 clear.", what,
			strings.Join(fit, "; "), m)
	case a.g.days() < shortestDays || a.cold == 0:
		f.step("", "Wait for %d nights below 5 °C of which at least 5 clear.", max(m-a.cold, 1))
	}
}

// matters says that a place is needed by a cause still in play.
func (a *assessment) matters(place roof.Place) bool {
	lead, _ := leading(a.support)
	for _, c := range Named() {
		if c != lead && a.support[c] < 0.1 {
			continue
		}
		for _, need := range a.needs(c) {
			if need == place {
				return true
			}
		}
	}
	return false
}

// rain tells how often wet spells were followed by loft vapour that temperature
// does not explain. Information only: it carries no weight.
func (a *assessment) rain() string {
	if a.p.loft.empty() || a.p.outdoor.empty() {
		return ""
	}
	fall := make([]float64, a.g.n)
	any := false
	for i := range a.set.Courses {
		c := &a.set.Courses[i]
		if c.Position.Place != roof.OutdoorAir || any {
			continue
		}
		for j, ms := range c.RainMM.AtMS {
			if k := (ms - a.g.startMS) / hourMS; ms >= a.g.startMS && k < int64(a.g.n) {
				fall[k] += c.RainMM.Value[j]
				any = any || c.RainMM.Value[j] > 0
			}
		}
	}
	if !any {
		return ""
	}
	ones := make([]float64, a.g.n)
	for k := range ones {
		ones[k] = 1
	}
	r, ok := leastSquares(a.p.loft.vapourPa, 200, a.p.outdoor.vapourPa, satWater(a.p.loft.tempC), ones)
	if !ok {
		return ""
	}
	spread := 0.0
	n := 0
	for _, v := range r.residual {
		if known(v) {
			spread, n = spread+v*v, n+1
		}
	}
	spread = math.Sqrt(spread / float64(max(n, 1)))
	spells, rises := 0, 0
	for k := 24; k+48 < a.g.n; k++ {
		before, wet := 0.0, 0.0
		for j := k - 24; j < k; j++ {
			before += fall[j]
		}
		for j := k; j < k+24; j++ {
			wet += fall[j]
		}
		if fall[k] == 0 || before > 0.2 || wet < 2 {
			continue
		}
		spells++
		if level := mean(r.residual[k-24 : k]); known(level) {
			for j := k; j+12 <= k+48; j += 12 {
				if m := mean(r.residual[j : j+12]); known(m) && m-level > spread {
					rises++
					break
				}
			}
		}
		k += 24
	}
	if spells == 0 {
		return ""
	}
	return fmt.Sprintf("after %d of %d spells of rain there was within 48 h a rise of loft vapour that temperature does "+
		"not explain (information only: it carries no weight).", rises, spells)
}
