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
//	DEWCASE_SEED=3000000 DEWCASE_TRIALS=24 go test -tags trials -run TestTrials -timeout 3h -v ./internal/reason/cause
//
// 24 winters of 120 days for each of ten planted causes (two of them mixtures),
// each proven to matter by a what-if run; half with ordinary loggers (+-0.3 K,
// +-2 %RH, gaps, drift of 1 %), half with cheap ones (+-0.5 K, +-3 %RH, drift of
// up to 5 % in 100 days, stuck probes, wrong clocks, long gaps); one survey item
// in five unknown, one in 25 wrong. "Right" is (one of) the true cause(s). After a
// first run two numbers were changed (the doubt from 0.08 to 0.11 and the
// membership that a name asks for from 0.58 to 0.55: confidently wrong answers had
// been 2.9 %); to that extent these winters have been looked at. The figures are
// those of the same winters run anew after it.
//
// Wilson 95 % intervals of the first row: right 66 to 77 %, wrong 9 to 17 %,
// confident and wrong 0.4 to 3.6 %. On the same winters the version of that morning
// had 75.0, 12.1 and 2.1 %: bolder here, at home, and worse abroad.
//
// Abroad, the first kind of houses under the physics of package abroad
// (DEWCASE_TRIALS_HOUSES=abroad DEWCASE_TRIALS_SHORT=1): on 200 winters drawn after
// the weights were found, 10 of each cause from seeds 3100000 and 3300000, right 62 %
// (56 to 69), wrong 16 (12 to 22), confident and wrong 1 (0.3 to 3.6): 56, 20 and 1
// on the first hundred, 69, 12 and 1 on the second. The version of that morning had
// 52, 24 and 6 on the first. Of the second hundred's 12 wrong five were blocked
// openings called an unvented void (3) or a leak (2), three a leak with them called a
// void or a ceiling. The weights have seen 300 other winters
// of that model (seed 2000000: 69.7, 13.3, 1.3 %; the morning's 63.0, 16.3, 2.0).
// Weights found on roofsim alone, judged on all 400: 63.0, 16.0, 1.8 % (right 58 to
// 68, wrong 13 to 20). The bars for physics that nothing was found on, 65, 13 and
// 2 %, are so kept in confidence and missed in names, on a real roof expect no
// better. Say "probable", not "proved".
//
// Leading support, said and right, in the bands below 0.5, 0.7, 0.8 and above: first
// row 0.43 and 0.41, 0.62 and 0.70, 0.75 and 0.89, 0.86 and 0.95 (n 37, 80, 57, 66);
// abroad, the 200 winters: 0.40 and 0.29, 0.61 and 0.69, 0.75 and 0.80, 0.86 and 0.96
// (n 38, 74, 40, 48).
//
// By cause (right, wrong, undetermined of 24): ceiling_leakage 15, 2, 7;
// unvented_batten_void 23, 1, 0; night_sky_cooling 17, 3, 4; water_ingress by rain
// 14, 5, 5, by plumbing 16, 2, 6; construction_moisture 21, 1, 2;
// blocked_ventilation 14, 7, 3; none_found 13, 7, 4 (6 of them, mostly under cheap
// loggers that read humid, called water_ingress; the version of that morning 5);
// ceiling and void at once 23, 0, 1; rain and blocked at once 17, 1, 6. A second
// cause was named in 6 and 6 of the 24 winters of the two mixtures, and in 12 of the
// 192 pure ones.
//
// The second kind of houses has open coverings as airy as the rules of the trade
// ask, and only winters in which no other cause rivals the planted one (seed
// 1100000, 16 of each cause; 100 of these winters helped to find the weights).
// "Shifted" houses have leakier coverings, half or twice the timber, leaks,
// insulation, wind and extract (seed 800000, 20 of each).
//
// Measured sound roofs, two of them, two winters, the whole record and a month, four
// surveys: nothing was named in any. ceiling_leakage had at most 0.17 of the support
// and water_ingress 0.36.
func Rates() []Rate {
	const now, before = "30 November 2026", "by the version before 30 November 2026"
	return []Rate{
		{"120 days, all", 240, 72.1, 12.1, 15.8, 26.2, 1.2, 0.185, now},
		{"120 days, ordinary loggers", 120, 78.3, 7.5, 14.2, 32.5, 1.7, 0.144, now},
		{"120 days, cheap loggers", 120, 65.8, 16.7, 17.5, 20.0, 0.8, 0.227, now},
		{"60 days", 240, 68.3, 7.9, 23.8, 24.2, 0.4, 0.197, now},
		{"30 days", 240, 60.8, 11.7, 27.5, 15.0, 1.2, 0.236, now},
		{"21 days", 240, 55.0, 10.0, 35.0, 9.2, 0.8, 0.250, now},
		{"without outdoor air", 240, 0, 0, 100, 0, 0, 0.446, now},
		{"without indoor air", 240, 22.5, 0.8, 76.7, 6.2, 0, 0.250, now},
		{"without loft air", 240, 0, 0, 100, 0, 0, 0.428, now},
		{"without batten void", 240, 6.7, 0.4, 92.9, 9.2, 0, 0.233, now},
		{"without covering", 240, 9.6, 0.8, 89.6, 10.0, 0.4, 0.222, now},
		{"without underlay", 240, 71.7, 12.1, 16.2, 25.4, 0.4, 0.192, now},
		{"120 days, all, published table", 240, 63.3, 16.2, 20.4, 23.3, 3.3, 0.251, now},
		{"other physics, winters not seen", 200, 62.5, 16.0, 21.5, 23.0, 1.0, 0.243, now},
		{"other physics, weights found without it", 400, 63.0, 16.0, 21.0, 18.8, 1.8, 0.242, now},
		{"second kind of houses", 160, 76.2, 7.5, 16.3, 27.5, 1.9, 0.169, now},
		{"shifted houses", 200, 66.5, 11.0, 22.5, 29.5, 1.5, 0.200, before},
	}
}
