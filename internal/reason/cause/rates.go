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
// served for nothing else on these houses and were looked at once, when nothing was
// left to change:
//
//	DEWCASE_SEED=53000700 DEWCASE_TRIALS=24 \
//	go test -tags trials -run TestTrials -timeout 3h -v ./internal/reason/cause
//
// 24 winters of 120 days for each of ten planted causes (two of them mixtures; two
// sound roofs were not drawn), each proven to matter by a what-if run; half with
// ordinary loggers (+-0.3 K, +-2 %RH, gaps, drift of 1 %), half with cheap ones (+-0.5
// K, +-3 %RH, drift of up to 5 % in 100 days, stuck probes, wrong clocks, long gaps);
// one survey item in five unknown, one in 25 wrong. "Right" is (one of) the true
// cause(s). Wilson 95 % intervals of the first row: right 65 to 76 %, wrong
// 9 to 17, confident and wrong 1.2 to 5.4.
//
// Abroad, the first kind of houses under the physics of package abroad
// (DEWCASE_TRIALS_HOUSES=abroad DEWCASE_TRIALS_VARIANTS=0 DEWCASE_TRIALS=20, seeds
// 50000700, 54000700 and 57000700, 600 winters that nothing was found on): right 65.3 %
// (61 to 69), wrong 10.0 (8 to 13), confident and wrong 0.8 (0.4 to 1.9); by seed
// 64.5, 61.0, 70.5 right, 9.5, 12.0, 8.5 wrong and 0, 1.5, 1.0 confident and wrong. The
// first seed had been looked at once before, under a change that was left out; without
// it 65.8, 10.2 and 1.2. The bars for physics that nothing was found on are 65, 13 and
// 2 %. The table's fourth part is of that package, under other constants; without it
// these were 63.0, 10.7 and 1.5. On a real roof expect no better. Say "probable", not "proved".
//
// The version before named a cause that was among the causes with 0.55. The bar of 0.60
// withholds 30 names of 857 winters, 18 of them wrong: on 200 abroad and 118 at home
// (seeds 51000700 and 52000700, in sight when 0.60 was chosen among its neighbours)
// wrong fell from 12.0 to 9.0 and from 7.6 to 5.9 %, right from 72.5 to 70.5 and from 70.3
// to 68.6. It touches no support, hence neither what is confidently wrong nor how
// honest the supports are. Between draws the rates move more than between versions:
// on 400 earlier winters abroad the version before had 67.5, 15.0 and 1.5 %, on 240 at
// home 65.8, 13.3 and 1.7 %.
//
// Leading support, said and right, in the bands below 0.5, 0.7, 0.8 and above: first
// row 0.41 and 0.38, 0.62 and 0.71, 0.75 and 0.89, 0.86 and 0.92 (n 34, 75, 53, 76);
// abroad, the 600 winters, 0.41 and 0.50, 0.61 and 0.73, 0.75 and 0.88, 0.86 and 0.96
// (n 114, 201, 138, 147). Above 0.5 it says a tenth less than is right.
//
// By cause (right, wrong, undetermined of 24): ceiling_leakage 14, 4, 6;
// unvented_batten_void 21, 2, 1; night_sky_cooling 20, 3, 1; water_ingress by rain
// 12, 7, 5, by plumbing 15, 6, 3; construction_moisture 19, 0, 5;
// blocked_ventilation 9, 5, 10; none_found 18, 2, 2 of 22; ceiling and void at once
// 24, 0, 0; rain and blocked at once 16, 0, 8. A second cause was named in 7 and 2 of
// the 24 winters of the two mixtures, and in 7 of the 190 pure ones.
//
// The second kind of houses has open coverings as airy as the rules of the trade
// ask, and only winters in which no other cause rivals the planted one (seed
// 55000700, 24 of each cause). "Shifted" houses have leakier coverings, half or twice
// the timber, leaks, insulation, wind and extract (seed 56000700, 24 of each).
// Confident and wrong: 1.4 to 5.9 and 0.6 to 4.2 %.
//
// Measured sound roofs, two of them, two winters, the whole record and a month, four
// surveys: nothing was named in any. ceiling_leakage had at most 0.15 of the support
// and water_ingress 0.28.
func Rates() []Rate {
	const now = "30 November 2026"
	return []Rate{
		{"120 days, all", 238, 70.6, 12.2, 17.2, 29.4, 2.5, 0.200, now},
		{"120 days, ordinary loggers", 120, 77.5, 8.3, 14.2, 32.5, 2.5, 0.152, now},
		{"120 days, cheap loggers", 118, 63.6, 16.1, 20.3, 26.3, 2.5, 0.250, now},
		{"60 days", 238, 66.0, 7.6, 26.5, 23.1, 1.7, 0.216, now},
		{"30 days", 238, 58.0, 7.1, 34.9, 21.4, 0.8, 0.236, now},
		{"21 days", 238, 44.1, 6.7, 49.2, 18.9, 0.8, 0.258, now},
		{"without outdoor air", 238, 0, 0, 100, 0, 0, 0.450, now},
		{"without indoor air", 238, 26.1, 1.7, 72.3, 8.4, 0, 0.251, now},
		{"without loft air", 238, 0, 0, 100, 0, 0, 0.419, now},
		{"without batten void", 238, 6.3, 0.4, 93.3, 7.6, 0, 0.236, now},
		{"without covering", 238, 9.2, 0.8, 89.9, 9.2, 0, 0.241, now},
		{"without underlay", 238, 69.3, 11.8, 18.9, 26.1, 2.5, 0.200, now},
		{"120 days, all, published table", 238, 54.6, 13.4, 31.9, 21.0, 3.8, 0.299, now},
		{"120 days, all, table without the fourth model", 238, 71.0, 11.8, 17.2, 31.9, 2.9, 0.200, now},
		{"other physics, winters not seen", 600, 65.3, 10.0, 24.7, 23.7, 0.8, 0.197, now},
		{"other physics, table without the fourth model", 600, 63.0, 10.7, 26.3, 22.7, 1.5, 0.211, now},
		{"second kind of houses", 240, 66.7, 11.2, 22.1, 25.0, 2.9, 0.202, now},
		{"shifted houses", 240, 66.7, 8.3, 25.0, 26.7, 1.7, 0.205, now},
	}
}
