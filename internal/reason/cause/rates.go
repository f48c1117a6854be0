package cause

// Rate is one row of the measured operating figures, per cent of N winters.
type Rate struct {
	Set                            string
	N                              int
	Right, Wrong, Undetermined     float64
	ConfidentRight, ConfidentWrong float64 // support over 0.8, whatever the finding
	Brier                          float64 // mean of (1 - support of the true causes) squared
	Measured                       string  // when, and by which version where not by this one
}

// Rates are the operating figures measured on package roofsim, from seeds that
// served for nothing else:
//
//	DEWCASE_SEED=500000 DEWCASE_TRIALS=24 go test -tags trials -run TestTrials -timeout 3h -v ./internal/reason/cause
//
// 24 winters of 120 days for each of ten planted causes (two of them mixtures),
// each proven to matter by a what-if run; half with ordinary loggers (+-0.3 K,
// +-2 %RH, gaps, drift of 1 %), half with cheap ones (+-0.5 K, +-3 %RH, drift of
// up to 5 % in 100 days, stuck probes, wrong clocks, long gaps); one survey item
// in five unknown, one in 25 wrong. "Right" is (one of) the true cause(s).
//
// The recommended bars (right 85 %, wrong 8 %, Brier 0.13 with the openings
// known) are missed on this simulator; those on confident and wrong answers
// (3 %) and on missing loggers are kept. The published table alone, to which
// this simulator is a third kind of physics, does worse by 14 points of right
// answers and twice the wrong ones, which is what its authors expected across
// models. Of the rates for the table in use, those of the pool's own third
// simulator are new draws of a model that the table has partly seen: on a fourth
// kind, and on a real roof, expect something between the two rows. Say
// "probable", not "proved".
//
// Two further kinds of houses, which the table has not seen, were drawn from the
// same simulator (DEWCASE_TRIALS_HOUSES): "second" has open coverings as airy as
// the rules of the trade ask, and only winters in which no other cause rivals the
// planted one (seed 600000); "shifted" has leakier coverings, half or twice the
// timber, leaks, insulation, wind and extract (seed 800000); 20 winters of each
// cause. There the table in use and the published one come closer together.
//
// Wilson 95 % intervals of the first row: right 64 to 75 %, wrong 8 to 16 %,
// confident and wrong 0.9 to 4.8 %. On the same winters the version before had
// 70.4, 11.7 and 2.1 %.
//
// By cause (right, wrong, undetermined of 24): ceiling_leakage 15, 3, 6;
// unvented_batten_void 14, 2, 8; night_sky_cooling 18, 6, 0; water_ingress by
// rain 17, 1, 6, by plumbing 21, 1, 2; construction_moisture 17, 3, 4;
// blocked_ventilation 11, 6, 7; none_found 23, 0, 1; ceiling and void at once 19, 0,
// 5; rain and blocked at once 13, 5, 6. A second cause was named in 10 and 7 of
// the 24 winters of the two mixtures, and in 9 of the 192 pure ones.
//
// Calibration (mean support: share true, answers): 0.02: 0.02, 1171; 0.14: 0.16,
// 123; 0.24: 0.13, 86; 0.35: 0.29, 62; 0.44: 0.43, 45; 0.55: 0.65, 44; 0.65:
// 0.63, 43; 0.75: 0.82, 31; 0.85: 0.87, 38; 0.95: 0.97, 37.
//
// Two measured sound roofs, 22 starts 20 days apart, 30, 60 and 120 days each,
// four surveys, one roof's deck taken as underlay and as covering: nothing was
// named in any of them. Without a survey ceiling_leakage had at most 0.17 of the
// support and water_ingress 0.54; a survey that swears to shut eaves and an open
// ceiling lifts ceiling_leakage to 0.27 (120 days, loft as logged) and at worst
// 0.46 (60 days), the published table's to 0.26 and 0.40.
func Rates() []Rate {
	const now = "by the version of the morning of 30 November 2026"
	const before = "by the version before 30 November 2026"
	return []Rate{
		{"120 days, all", 240, 70.0, 11.2, 18.8, 29.2, 2.1, 0.210, now},
		{"120 days, openings known", 193, 73.1, 11.4, 15.5, 30.6, 2.1, 0.196, now},
		{"120 days, ordinary loggers", 120, 75.8, 7.5, 16.7, 31.7, 0.8, 0.175, now},
		{"120 days, cheap loggers", 120, 64.2, 15.0, 20.8, 26.7, 3.3, 0.246, now},
		{"60 days", 240, 68.3, 12.1, 19.6, 25.8, 0, 0.213, now},
		{"30 days", 240, 59.6, 14.2, 26.2, 20.8, 0, 0.237, now},
		{"21 days", 240, 51.2, 15.4, 33.3, 15.8, 2.5, 0.278, now},
		{"without outdoor air", 240, 0, 0, 100, 0, 0, 0.458, now},
		{"without indoor air", 240, 7.1, 0.4, 92.5, 7.5, 0, 0.266, now},
		{"without loft air", 240, 0, 0, 100, 0, 0, 0.442, now},
		{"without batten void", 240, 7.5, 0.8, 91.7, 10.4, 0.4, 0.258, now},
		{"without covering", 240, 8.3, 0.8, 90.8, 12.9, 1.2, 0.246, now},
		{"without underlay", 240, 67.5, 10.0, 22.5, 25.8, 1.2, 0.212, now},
		{"120 days, all, published table", 240, 55.8, 21.7, 22.5, 20.0, 3.8, 0.307, now},
		{"second kind of houses", 200, 68.5, 11.5, 20.0, 29.0, 2.5, 0.184, before},
		{"second kind of houses, published table", 200, 62.5, 14.5, 23.0, 23.0, 2.0, 0.233, before},
		{"shifted houses", 200, 66.5, 11.0, 22.5, 29.5, 1.5, 0.200, before},
		{"shifted houses, published table", 200, 66.5, 13.0, 20.5, 24.5, 1.0, 0.221, before},
	}
}
