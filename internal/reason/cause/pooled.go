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

// fourth holds what a fourth gives (package abroad, each house under constants of
// its own): 300 winters, 30 of each planted cause, by TestTable.
var fourth = [features]ls{
	fEl: {{106, 36}, {85, 28}, {112, 52}, {7.5, 20}, {60, 39}, {64, 38}, {136, 40}, {-4.8, 28}},
	fLflux: {{1.99, 0.45}, {2.07, 0.40}, {2.09, 0.52}, {1.41, 0.83}, {2.15, 0.53}, {1.79, 0.52}, {2.04, 0.78},
		{0.69, 1.29}},
	fSrc: {{0.26, 0.25}, {0.09, 0.18}, {0.16, 0.18}, {-0.08, 0.17}, {0.18, 0.18}, {0.20, 0.20}, {0.33, 0.36},
		{-0.03, 0.21}},
	fLHu: {{5.61, 0.67}, {5.20, 1.04}, {5.76, 0.96}, {4.55, 1.34}, {5.35, 0.74}, {5.84, 0.47}, {5.91, 0.60},
		{3.06, 1.55}},
	fRH90: {{531, 119}, {447, 229}, {489, 191}, {209, 186}, {496, 116}, {559, 124}, {612, 126}, {238, 199}},
	fElB:  {{99, 51}, {10, 29}, {33, 50}, {17, 19}, {40, 44}, {65, 54}, {111, 52}, {8.5, 29}},
	fWo: {{0.14, 0.08}, {0.17, 0.06}, {0.15, 0.08}, {0.40, 0.11}, {0.31, 0.09}, {0.22, 0.16}, {0.14, 0.13},
		{0.70, 0.09}},
	fSb: {{0.46, 0.17}, {0.41, 0.24}, {0.50, 0.18}, {0.07, 0.10}, {0.36, 0.13}, {0.53, 0.24}, {0.68, 0.16},
		{0.12, 0.17}},
	fHeat: {{0.065, 0.023}, {0.049, 0.031}, {0.065, 0.023}, {0.036, 0.023}, {0.038, 0.018}, {0.044, 0.029},
		{0.058, 0.020}, {0.033, 0.033}},
	fWiZ: {{0.56, 0.79}, {1.22, 1.36}, {1.17, 1.44}, {0.18, 0.82}, {0.26, 0.97}, {0.40, 0.75}, {0.41, 0.91},
		{-0.14, 0.56}},
	fVo: {{0.06, 0.06}, {0.07, 0.09}, {0.07, 0.06}, {0.21, 0.33}, {0.06, 0.05}, {0.08, 0.07}, {0.05, 0.05},
		{0.08, 0.05}},
	fLHc: {{4.04, 2.19}, {5.72, 0.59}, {5.75, 0.69}, {4.97, 0.81}, {5.33, 1.47}, {4.62, 1.86}, {3.88, 2.37},
		{3.07, 1.61}},
	fWhere: {{-2.38, 1.64}, {-0.20, 0.86}, {-0.47, 0.99}, {-1.08, 1.03}, {-0.86, 1.47}, {-1.90, 1.64},
		{-2.38, 1.07}, {-0.66, 0.90}},
	fUc: {{3.08, 0.68}, {3.42, 0.81}, {3.27, 0.75}, {4.37, 0.79}, {3.60, 0.77}, {3.88, 0.51}, {3.75, 0.79},
		{2.43, 0.79}},
	fRt: {{0.47, 0.35}, {0.41, 0.28}, {0.47, 0.39}, {0.36, 0.34}, {0.68, 0.25}, {-0.24, 0.43}, {0.41, 0.42},
		{0.06, 0.61}},
	fDecay: {{0.151, 0.121}, {0.141, 0.152}, {0.137, 0.127}, {0.033, 0.153}, {0.211, 0.152}, {-0.058, 0.273},
		{0.166, 0.123}, {-0.006, 0.019}},
	fDecayI: {{-0.014, 0.108}, {-0.060, 0.118}, {-0.009, 0.069}, {-0.003, 0.085}, {0.006, 0.092}, {-0.175, 0.099},
		{-0.031, 0.071}, {-0.064, 0.124}},
}

// fourthShare is the weight of the fourth: one model in four. It was not searched
// for.
const fourthShare = 1.0 / 4

// ours is the table in use. The published one was pooled from two models, and
// says of itself that across models it loses 10 to 20 points: a roof is another
// kind of physics again. So a third and a fourth kind are pooled in by the same rule,
//
//	loc    = (1-w) loc1 + w loc2
//	scale2 = (1-w) scale1^2 + w scale2^2 + w (1-w) (loc1 - loc2)^2
//
// which widens every scale where the models disagree (undercooling and the
// airing of the void above all) and leaves it where they agree (the dynamic
// shares, the trends). Floors and groups are the published ones; see tuned.
var ours = tuned(pooled(pooled(published, third, thirdShare), fourth, fourthShare))

// weights are those of the table in use. They were climbed on the mean logarithm of
// the support of the true causes, with a pull towards the weights before, in two
// steps, and rounded: from the published ones over 240 winters of roofsim, 300 of
// package abroad and 100 of roofsim's second kind of houses; from these, after the
// fourth simulation had joined the table, over 240 of roofsim, 190 of package abroad
// under varied constants and 120 of the second kind (30 November 2026; TestTuning
// climbs anew). Found on roofsim alone they served abroad better than the published
// ones, found on abroad alone they served roofsim worse: hence both. The load of the
// loft itself gained, what is made of it (the flux, the hours under the underlay) lost.
var weights = [features]float64{fEl: 0.45, fLflux: 0.4, fSrc: 0.33, fLHu: 0.11, fRH90: 0.22, fElB: 0.2, fWo: 0.6,
	fSb: 0.2, fHeat: 0.45, fWiZ: 1, fVo: 0.8, fLHc: 0.48, fWhere: 0.33, fUc: 0.8, fRt: 0.55, fDecay: 0.85, fDecayI: 1}

// tuned sharpens a pooled table as far as the shares stay honest. On the winters
// above the leading cause was said to have 0.60 where it was among the true ones in
// 0.75, and 0.75 where 0.85 were right. Two things were behind it: the sum of the
// scores was tempered too much (1.15, now 1.65; and the survey by 1.25), and a state of two
// faults gave half its share to each, though one leads: the void wets the covering,
// house air fills the loft. Sharpened alone, the confidently wrong answers rise with
// it; a doubt, that one roof in nine has something that the table does not know,
// holds them down, and holds every support to 0.90.
func tuned(m model) model {
	for f, w := range weights {
		m.row[f].weight = w
	}
	m.temperature, m.trust, m.doubt, m.mixing, m.priors = 1.65, 1.25, 0.11, mixing{void: 0.7, air: 0.65}, inUse
	return m
}

func pooled(a model, b [features]ls, w float64) model {
	out := a
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
