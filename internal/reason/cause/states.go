package cause

import "math"

// state is a physical condition of a roof that loggers can tell from another;
// causes are named from states and the survey together.
type state int

// The states of the method, section 1.
const (
	stateU  state = iota // house moisture in a loft that is hardly flushed
	stateV               // loft vapour passes the underlay into a shut void
	stateVC              // V with much house air through the ceiling
	stateS               // the covering cools below the outdoor dew point; loft dry
	stateW               // liquid water wets a loft that does exchange air
	stateC               // the same, but fading over weeks
	stateWU              // W and U at once
	stateN               // few condensing hours, loft dry, little undercooling
	states
)

var stateNames = [states]string{"U", "V", "VC", "S", "W", "C", "WU", "N"}

// group gathers features that repeat each other, so that no group, hence no
// single logger, can decide alone.
type group int

const (
	groupLoad group = iota
	groupExchange
	groupHouse
	groupVoid
	groupCovering
	groupSky
	groupTime
	groups
)

var groupNames = [groups]string{"load", "exchange", "house air", "void", "covering", "sky", "time"}

// feature is one figure made of the hourly series; section 3 of the method.
type feature int

const (
	fEl feature = iota
	fLflux
	fSrc
	fLHu
	fRH90
	fElB
	fWo
	fSb
	fHeat
	fWiZ
	fVo
	fLHc
	fWhere
	fUc
	fRt
	fDecay
	fDecayI
	features
)

// featureRow is what the table says of one feature: its group, its weight and
// the location and scale of a Student t with 4 degrees of freedom per state.
type featureRow struct {
	id     string
	group  group
	weight float64
	state  ls
}

// ls is a row of locations and scales in the order U V VC S W C WU N.
type ls = [states]struct{ loc, scale float64 }

// model is a table with the temperature of the whole sum.
type model struct {
	row         [features]featureRow
	temperature float64
	trust       float64 // factor on the survey's log-priors
	doubt       float64 // chance that the roof has something that the table does not know
	mixing      mixing
	priors      priors
}

// published is the table of the method as printed: fitted on two independent
// simulations of roofs (596 and 682 winters), pooled, the scale widened by their
// disagreement. It is kept whole, because the printed check values belong to it.
var published = model{temperature: 1.15, trust: 1, mixing: mixing{0.5, 0.5},
	priors: priors{ingress: 0.3, openCovering: -1.2, openLoft: -0.4},
	row: [features]featureRow{
		fEl: {"El", groupLoad, 0.2, ls{{134, 39}, {111, 43}, {129, 40}, {2, 21}, {52, 29}, {54, 30}, {132, 32}, {4, 21}}},
		fLflux: {"lflux", groupLoad, 0.5, ls{{2.49, 0.85}, {2.04, 0.68}, {2.54, 0.79}, {0.87, 1.1}, {2.59, 0.63},
			{2.73, 0.69}, {2.12, 0.56}, {1.28, 1.04}}},
		fSrc: {"src", groupLoad, 0.4, ls{{0.15, 0.21}, {0.09, 0.19}, {0.2, 0.21}, {-0.05, 0.12}, {0.15, 0.16}, {0.12, 0.13},
			{0.37, 0.25}, {-0.01, 0.13}}},
		fLHu: {"lHu", groupLoad, 0.2, ls{{5.46, 0.67}, {4.88, 0.96}, {5.18, 0.97}, {3.58, 0.86}, {3.94, 0.82}, {4.22, 0.81},
			{5.48, 0.6}, {1.67, 0.6}}},
		fRH90: {"rh90", groupLoad, 0.4, ls{{538, 155}, {504, 178}, {487, 211}, {177, 100}, {309, 141}, {304, 140},
			{596, 114}, {59, 90}}},
		fElB: {"ElB", groupLoad, 0.3, ls{{99, 45}, {9, 21}, {15, 25}, {0, 22}, {22, 30}, {26, 32}, {107, 39}, {0, 23}}},
		fWo: {"wo", groupExchange, 0.6, ls{{0.18, 0.14}, {0.15, 0.12}, {0.19, 0.13}, {0.56, 0.21}, {0.45, 0.17},
			{0.47, 0.16}, {0.12, 0.08}, {0.64, 0.1}}},
		fSb: {"sb", groupExchange, 0.2, ls{{0.54, 0.23}, {0.55, 0.22}, {0.54, 0.25}, {0.14, 0.09}, {0.28, 0.15},
			{0.28, 0.12}, {0.71, 0.16}, {0.08, 0.08}}},
		fHeat: {"heat", groupHouse, 1.0, ls{{0.048, 0.02}, {0.036, 0.019}, {0.054, 0.018}, {0.037, 0.016}, {0.032, 0.015},
			{0.034, 0.014}, {0.044, 0.015}, {0.029, 0.014}}},
		fWiZ: {"wiZ", groupHouse, 1.0, ls{{1.36, 1.4}, {1.45, 1.14}, {1.58, 1.37}, {-0.07, 0.97}, {0.19, 1.13},
			{0.03, 1.08}, {0.73, 1.39}, {0.49, 1.1}}},
		fVo: {"vo", groupVoid, 0.8, ls{{0.38, 0.18}, {-0.03, 0.12}, {-0.07, 0.12}, {-0.05, 0.51}, {0.15, 0.24},
			{0.15, 0.23}, {0.42, 0.14}, {0.39, 0.22}}},
		fLHc: {"lHc", groupCovering, 0.6, ls{{4.34, 1.07}, {5.71, 0.5}, {5.85, 0.5}, {4.87, 0.57}, {4.35, 0.92},
			{4.23, 1.12}, {4.26, 1.11}, {2.96, 1.32}}},
		fWhere: {"where", groupCovering, 0.4, ls{{-2.11, 1.23}, {0.4, 0.83}, {0.1, 0.9}, {-0.63, 0.85}, {-0.66, 1.17},
			{-1.02, 1.06}, {-2.31, 0.92}, {-0.01, 0.6}}},
		fUc: {"uc", groupSky, 1.0, ls{{2.92, 0.8}, {3.17, 1}, {3.14, 0.89}, {4.59, 0.78}, {2.82, 1.03}, {2.93, 0.96},
			{2.9, 0.88}, {1.31, 0.58}}},
		fRt: {"rt", groupTime, 1.0, ls{{0.51, 0.27}, {0.6, 0.26}, {0.49, 0.25}, {0.43, 0.25}, {0.43, 0.27}, {-0.28, 0.29},
			{0.44, 0.29}, {0.31, 0.25}}},
		fDecay: {"decay", groupTime, 0.8, ls{{0.19, 0.11}, {0.25, 0.13}, {0.19, 0.1}, {0.07, 0.11}, {0.18, 0.12},
			{-0.08, 0.11}, {0.19, 0.1}, {0.03, 0.1}}},
		fDecayI: {"decayI", groupTime, 1.0, ls{{-0.02, 0.12}, {-0.02, 0.12}, {-0.02, 0.12}, {-0.02, 0.12}, {-0.02, 0.12},
			{-0.2, 0.12}, {-0.02, 0.12}, {-0.03, 0.12}}},
	}}

// Constants of the combination, section 4.
const (
	featureFloor  = -2.5 // nats a feature can take from a state, times its weight
	groupFloor    = -3.0 // nats a group can take
	timeFloor     = -2.0 // the same for the trend over the winter
	dryLoftPa     = -10  // a loft drier than this against outdoors is a logger's offset
	offsetScale   = 2.0  // on the scales of a load that may be a logger's offset
	studentDoF    = 4.0
	shutVoidRainQ = 0.25 // chance that a shut void lies over a leak or drying out
	shutVoidAirQ  = 0.1  // the same over a loft full of house air
)

// logStudent is log t(x; m, s) with 4 degrees of freedom up to a constant.
func logStudent(x, m, s float64) float64 {
	z := (x - m) / s
	return -(studentDoF+1)/2*math.Log(1+z*z/studentDoF) - math.Log(s)
}

// scores are the nats each group takes from each state, best state 0.
type scores struct {
	group   [groups][states]float64
	own     [features][states]float64 // of each feature by itself, for the words
	present [groups]bool
	factor  float64         // on every nat: the temperature, by how many groups are present
	logPost [states]float64 // before the survey
}

// score combines the features present, section 4 points 1 to 4, 6 and 7. The load
// counts less where the loft's excess over outdoors, with its standard uncertainty
// se, may be nothing but the offset of a logger.
func (m *model) score(value, se [features]float64, days float64) scores {
	var s scores
	el := value[fEl]
	offset := known(el) && (el < dryLoftPa || math.Abs(el) < 2*se[fEl])
	for f := range features {
		row := &m.row[f]
		if !known(value[f]) {
			continue
		}
		k := m.widened(f, days)
		if row.group == groupLoad && offset {
			k *= offsetScale
		}
		var l [states]float64
		best := math.Inf(-1)
		for st := range states {
			l[st] = logStudent(value[f], row.state[st].loc, row.state[st].scale*k)
		}
		shut := math.Exp(l[stateV])
		for st := range states {
			if q := shutVoid(f, st); q > 0 {
				l[st] = math.Log((1-q)*math.Exp(l[st]) + q*shut)
			}
		}
		for st := range states {
			best = math.Max(best, l[st])
		}
		s.present[row.group] = true
		for st := range states {
			s.own[f][st] = row.weight * math.Max(l[st]-best, featureFloor)
			s.group[row.group][st] += s.own[f][st]
		}
	}
	n := 0
	for g := range groups {
		if !s.present[g] {
			continue
		}
		n++
		floor := groupFloor
		if g == groupTime {
			floor = timeFloor
		}
		best := math.Inf(-1)
		for st := range states {
			best = math.Max(best, s.group[g][st])
		}
		for st := range states {
			s.group[g][st] = math.Max(s.group[g][st]-best, floor)
		}
	}
	s.factor = m.temperature * float64(n) / float64(groups)
	for st := range states {
		sum := 0.0
		for g := range groups {
			sum += s.group[g][st]
		}
		s.logPost[st] = s.factor * sum
	}
	return s
}

// widened is the factor on a figure's scales in a record of so many days; trends of
// less than two months count little.
func (m *model) widened(f feature, days float64) float64 {
	if m.row[f].group == groupTime {
		return math.Sqrt(1 + (80/days)*(80/days))
	}
	return math.Sqrt(1 + 20/days)
}

// shutVoid is the chance that a shut void lies over a state, as figures of the void
// and the covering would show: it is visible whatever wets the loft.
func shutVoid(f feature, st state) float64 {
	switch {
	case f != fVo && f != fLHc && f != fWhere:
	case st == stateW || st == stateC:
		return shutVoidRainQ
	case st == stateU || st == stateWU:
		return shutVoidAirQ
	}
	return 0
}

// posterior is exp(score + prior), normalised.
func posterior(s scores, prior [states]float64) [states]float64 {
	var p [states]float64
	best := math.Inf(-1)
	for st := range states {
		p[st] = s.logPost[st] + prior[st]
		best = math.Max(best, p[st])
	}
	sum := 0.0
	for st := range states {
		p[st] = math.Exp(p[st] - best)
		sum += p[st]
	}
	for st := range states {
		p[st] /= sum
	}
	return p
}

// doubted leaves every state its part of the doubt.
func (m *model) doubted(p [states]float64) [states]float64 {
	for st := range states {
		p[st] = (1-m.doubt)*p[st] + m.doubt/float64(states)
	}
	return p
}
