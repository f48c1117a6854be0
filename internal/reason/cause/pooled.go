package cause

import "math"

// third holds what a third simulation of roofs gives (package roofsim: an
// air-flow network, another heat and vapour formulation, another weather): the
// median and the scale of each feature in each state over 450 winters, 45 of
// each planted cause, with loggers of ordinary and cheap make. Order U V VC S W
// C WU N.
var third = [features]ls{
	fEl: {{133, 53}, {118, 44}, {140, 34}, {0, 24}, {71, 39}, {56, 38}, {160, 37}, {7, 26}},
	fLflux: {{2.44, 0.91}, {2.24, 0.90}, {2.35, 0.86}, {0.72, 1.18}, {2.89, 0.76}, {2.55, 0.77}, {2.12, 0.90},
		{2.27, 1.68}},
	fSrc: {{0.16, 0.32}, {-0.13, 0.29}, {0.10, 0.29}, {-0.07, 0.14}, {0.18, 0.16}, {0.04, 0.19}, {0.28, 0.33},
		{0.02, 0.16}},
	fLHu: {{5.71, 0.59}, {5.51, 0.58}, {5.78, 0.54}, {4.41, 0.82}, {4.91, 0.81}, {4.78, 1.03}, {5.88, 0.52},
		{2.62, 0.71}},
	fRH90: {{551, 119}, {435, 131}, {507, 133}, {314, 82}, {318, 143}, {272, 183}, {620, 76}, {25, 23}},
	fElB:  {{110, 70}, {27, 28}, {29, 36}, {8, 27}, {42, 40}, {43, 40}, {140, 76}, {4, 32}},
	fWo: {{0.17, 0.18}, {0.13, 0.15}, {0.13, 0.12}, {0.64, 0.27}, {0.52, 0.25}, {0.40, 0.22}, {0.12, 0.14},
		{0.88, 0.05}},
	fSb: {{0.39, 0.24}, {0.31, 0.12}, {0.38, 0.16}, {0.05, 0.07}, {0.22, 0.16}, {0.21, 0.13}, {0.61, 0.24},
		{0.01, 0.08}},
	fHeat: {{0.048, 0.023}, {0.048, 0.023}, {0.047, 0.020}, {0.028, 0.020}, {0.039, 0.018}, {0.041, 0.019},
		{0.038, 0.020}, {0.052, 0.028}},
	fWiZ: {{0.69, 0.84}, {1.24, 0.96}, {1.12, 0.93}, {-0.04, 0.60}, {0.01, 0.62}, {0.27, 0.93}, {0.42, 0.83},
		{0.61, 0.83}},
	fVo: {{0.08, 0.06}, {0.02, 0.11}, {0.04, 0.08}, {0.10, 0.29}, {0.06, 0.08}, {0.08, 0.06}, {0.06, 0.06},
		{-0.05, 0.14}},
	fLHc: {{3.71, 1.88}, {5.41, 0.84}, {5.75, 0.42}, {5.28, 0.43}, {4.14, 1.70}, {3.64, 1.92}, {3.48, 2.44},
		{1.49, 0.50}},
	fWhere: {{-2.29, 1.68}, {-0.40, 0.60}, {-0.50, 0.61}, {-1.01, 0.99}, {-1.34, 1.36}, {-1.27, 1.36}, {-2.68, 1.96},
		{-0.74, 0.57}},
	fUc: {{4.68, 0.59}, {4.73, 0.57}, {4.60, 0.61}, {5.44, 0.45}, {4.67, 0.57}, {4.73, 0.69}, {4.65, 0.55},
		{3.52, 0.48}},
	fRt: {{0.38, 0.25}, {0.35, 0.23}, {0.34, 0.25}, {0.36, 0.29}, {0.52, 0.27}, {-0.34, 0.33}, {0.43, 0.27},
		{-0.03, 0.84}},
	fDecay: {{0.17, 0.10}, {0.13, 0.09}, {0.14, 0.07}, {0.03, 0.12}, {0.25, 0.17}, {-0.06, 0.13}, {0.18, 0.08},
		{0.00, 0.07}},
	fDecayI: {{0.00, 0.10}, {-0.01, 0.06}, {0.02, 0.06}, {0.01, 0.08}, {0.00, 0.11}, {-0.15, 0.08}, {-0.01, 0.11},
		{-0.01, 0.11}},
}

// thirdShare is the weight of the third simulation: one model in three. It was
// not searched for.
const thirdShare = 1.0 / 3

// ours is the table in use. The published one was pooled from two models, and
// says of itself that across models it loses 10 to 20 points: a roof is a third
// kind of physics. So a third kind is pooled in by the same rule,
//
//	loc    = (1-w) loc1 + w loc2
//	scale2 = (1-w) scale1^2 + w scale2^2 + w (1-w) (loc1 - loc2)^2
//
// which widens every scale where the models disagree (undercooling and the
// airing of the void above all) and leaves it where they agree (the dynamic
// shares, the trends). Floors and groups are the published ones; see tuned.
var ours = tuned(pooled(published, third, thirdShare))

// weights are those of the table in use. They were climbed on the mean logarithm of
// the support of the true causes, with a pull towards the published weights, over
// 240 winters of roofsim, 300 of package abroad and 100 of roofsim's second kind of
// houses (30 November 2026; TestTuning climbs anew), and rounded. Found on roofsim
// alone they served abroad better than the published ones, found on abroad alone they
// served roofsim worse: hence both. The load of the loft itself gained,
// what is made of it (the flux, the hours under the underlay) lost.
var weights = [features]float64{fEl: 0.45, fLflux: 0.33, fSrc: 0.4, fLHu: 0.11, fRH90: 0.22, fElB: 0.2, fWo: 0.6,
	fSb: 0.2, fHeat: 0.67, fWiZ: 1.25, fVo: 0.8, fLHc: 0.48, fWhere: 0.33, fUc: 1, fRt: 0.67, fDecay: 0.67, fDecayI: 1}

// tuned sharpens a pooled table as far as the shares stay honest. On the winters
// above the leading cause was said to have 0.60 where it was among the true ones in
// 0.75, and 0.75 where 0.85 were right. Two things were behind it: the sum of the
// scores was tempered too much (1.15; and the survey by 1.25), and a state of two
// faults gave half its share to each, though one leads: the void wets the covering,
// house air fills the loft. Sharpened alone, the confidently wrong answers rise with
// it; a doubt, that one roof in nine has something that the table does not know,
// holds them down, and holds every support to 0.90.
func tuned(m model) model {
	for f, w := range weights {
		m.row[f].weight = w
	}
	m.temperature, m.trust, m.doubt, m.mixing = 1.5, 1.25, 0.11, mixing{void: 0.7, air: 0.65}
	return m
}

func pooled(a model, b [features]ls, w float64) model {
	out := model{row: a.row, temperature: a.temperature}
	for f := range features {
		for st := range states {
			x, y := a.row[f].state[st], b[f][st]
			d := x.loc - y.loc
			out.row[f].state[st].loc = (1-w)*x.loc + w*y.loc
			out.row[f].state[st].scale = math.Sqrt((1-w)*x.scale*x.scale + w*y.scale*y.scale + w*(1-w)*d*d)
		}
	}
	return out
}

// about describes a feature whatever the model.
func about(f feature) *featureRow { return &ours.row[f] }

// Features lists the short names of the figures, as Evidence carries them.
func Features() (out []string) {
	for f := range features {
		out = append(out, about(f).id)
	}
	return out
}
