package cause

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// survey is what was seen on site, turned into log-priors; nothing measured.
type survey struct {
	prior         [states]float64
	openingsKnown bool
	share         float64 // openings found over openings needed at the eaves of the loft
	neededMM      float64
	ceilingShare  float64 // of U and WU that counts for ceiling_leakage
	lines         []surveyLine
}

// surveyLine is one thing seen and how far it moves each state.
type surveyLine struct {
	text   string
	moves  [states]float64
	splits bool // tells a leaking ceiling from blocked openings
}

// Constants of the survey priors, section 5, in log units. All are judgement
// (common practice), small enough that measurement can overrule them, except
// the underlay: vapour does not pass a high-resistance one in amounts that
// matter.
const (
	lowPitchDeg     = 15.0
	neededLowMM     = 25.0 // pitch of 15 deg or less
	neededLRMM      = 7.0  // over a vapour-permeable underlay
	neededHRMM      = 10.0
	splitBound      = 2.0 // one survey in eight is wrong about what is really open
	recentlyDone    = 18  // months
	manyDownlights  = 4
	enoughOpenings  = 0.9
	shortOpenings   = 0.6
	aloneOnDate     = 60.0 // days below which drying out rests on the date alone
	baseMixed       = -0.7
	eavesBlockedLog = 1.5 // insulation seen against the openings
)

// priors are the log-priors in which the table in use differs from the published one.
type priors struct {
	ingress      float64 // of water coming in, before anything is seen
	openCovering float64 // of a trapped void under a covering that lets air through
	openLoft     float64 // of a shut, moist loft whose openings are adequate on paper
	openLoftVoid float64 // of a void filled from such a loft
}

// In use: leak, leaking ceiling and blocked openings start alike (the method has
// +0.3 for a leak's two ways in; a shut loft has two as well). A trapped void is by
// the method's own words one under a close-fitting covering: an air-open one (-1.2
// there) rules it out unless the survey is wrong about it, which is one survey in
// eight. Adequate openings do not speak against a shut, moist loft (-0.4 there), only
// for blocked openings against a leaking ceiling; they do against a void filled from
// the loft, whose figures are those of a loft that is not flushed.
var inUse = priors{openCovering: -2.5, openLoftVoid: -1.2}

func (p priors) read(c *roof.Case, fromMS int64) survey {
	b := c.Roof
	s := survey{neededMM: math.NaN(), share: math.NaN()}
	s.prior[stateVC], s.prior[stateWU], s.prior[stateW] = baseMixed, baseMixed, p.ingress
	move := func(text string, by float64, to ...state) {
		l := surveyLine{text: text}
		for _, st := range to {
			s.prior[st] += by
			l.moves[st] = by
		}
		s.lines = append(s.lines, l)
	}
	switch b.Underlay.Class {
	case "HR":
		move("underlay of high vapour resistance (HR): vapour passes only at its laps", -3.5, stateV, stateVC)
	case "LR":
		move("underlay of low vapour resistance (LR)", 0.6, stateV, stateVC)
	}
	switch b.Covering.Air {
	case "open":
		move("covering lets air through its joints", p.openCovering, stateV, stateVC)
	case "closed":
		move("close-fitting covering", 0.5, stateV, stateVC)
	}
	if b.Battens == "counter" {
		move("counter-battens give the void a clear path", -1, stateV, stateVC)
	}
	if e, r := b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM; e != nil && r != nil && *e >= 5 && *r > 0 {
		move(fmt.Sprintf("batten void open at eaves (%.0f mm) and ridge (%.0f mm)", *e, *r), -0.7, stateV, stateVC)
	}
	switch {
	case b.Ceiling.Sealed == roof.Yes:
		move("ceiling sealed", -0.4, stateU, stateVC)
	case b.Ceiling.Sealed == roof.No:
		move("ceiling not sealed", 0.3, stateU, stateVC)
	case b.Ceiling.Downlights != nil && *b.Ceiling.Downlights >= manyDownlights:
		move(fmt.Sprintf("%d downlights in a ceiling of unknown seal", *b.Ceiling.Downlights), 0.3, stateU, stateVC)
	}
	s.openings(b)
	if s.openingsKnown {
		l := surveyLine{text: fmt.Sprintf("loft openings on paper %.0f mm of %.0f mm usually needed at the eaves",
			*b.Openings.LoftEavesMM, s.neededMM), splits: true}
		switch {
		case s.share >= enoughOpenings:
			l.moves[stateU], l.moves[stateWU] = p.openLoft, p.openLoft
			l.moves[stateV], l.moves[stateVC] = p.openLoftVoid, p.openLoftVoid
		case s.share <= shortOpenings:
			l.moves[stateU], l.moves[stateVC] = 0.5, 0.3
		}
		s.take(l)
	}
	s.handover(c.Property.Completed, fromMS, move)
	return s
}

// trusted takes what was seen, and the base before it, by a factor on the odds.
func (s survey) trusted(factor float64) survey {
	for st := range states {
		s.prior[st] *= factor
	}
	s.lines = slices.Clone(s.lines)
	for i := range s.lines {
		for st := range states {
			s.lines[i].moves[st] *= factor
		}
	}
	return s
}

func (s *survey) take(l surveyLine) {
	for st := range states {
		s.prior[st] += l.moves[st]
	}
	s.lines = append(s.lines, l)
}

// openings compares the loft's eaves openings with the need and splits U and WU
// between ceiling_leakage and blocked_ventilation.
func (s *survey) openings(b roof.Build) {
	logOdds := 0.0 // blocked : ceiling
	if e := b.Openings.LoftEavesMM; e != nil {
		needed := func(low bool) float64 {
			switch {
			case low:
				return neededLowMM
			case b.Underlay.Class == "LR":
				return neededLRMM
			}
			return neededHRMM
		}
		low := b.PitchDeg != nil && *b.PitchDeg <= lowPitchDeg
		s.neededMM = needed(low)
		s.share = *e / s.neededMM
		s.openingsKnown = true
		if b.PitchDeg == nil {
			// either pitch class must lead to the same answer, else it is not known
			other := *e / neededLowMM
			s.openingsKnown = s.share <= shortOpenings || other >= enoughOpenings
		}
		if s.openingsKnown {
			logOdds = -2 + 4*(s.share-0.6)/0.3
			if b.EavesClear == roof.No {
				logOdds += eavesBlockedLog
			}
		}
	} else if b.EavesClear == roof.No {
		logOdds = eavesBlockedLog
	}
	if b.EavesClear == roof.No {
		s.take(surveyLine{text: "insulation lies against the eaves openings", splits: true})
	}
	logOdds = math.Min(math.Max(logOdds, -splitBound), splitBound)
	s.ceilingShare = 1 / (1 + math.Exp(logOdds))
}

func (s *survey) handover(done *time.Time, fromMS int64, move func(string, float64, ...state)) {
	if done == nil {
		move("the handover date is not known: people know when their house is new", -1.5, stateC)
		return
	}
	day := done.Format("2 January 2006")
	if done.AddDate(0, recentlyDone, 0).UnixMilli() > fromMS {
		move("handed over "+day+": the building may still be drying", 1.5, stateC)
		return
	}
	move("handed over "+day+": long dry", -1.8, stateC)
}
