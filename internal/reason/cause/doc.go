// Package cause says which cause of a wet roof the evidence supports, how
// strongly, and what would settle it.
//
// It takes the calibrated tracks of one case (package series), its survey, and
// the repairs known to have changed nothing. It returns a Finding: support for
// each of the seven named causes, summing to one; evidence for and against
// each, measured and seen kept apart; what to fit, look at or wait for; and
// the cautions that go with it. It never fails and never invents: where a
// place is not logged or the record is short, the answer is Undetermined, with
// the reason.
//
// # Model
//
// Loggers distinguish physical states of a roof, not names of causes. Eight
// states are scored:
//
//   - U: house moisture in a loft with little air change
//   - V: loft vapour caught in a shut void
//   - VC: both U and V
//   - S: cooling by the sky alone
//   - W: liquid water in a loft that is well flushed
//   - C: the same, fading
//   - WU: both W and U
//   - N: nothing
//
// Seventeen figures are computed from hourly tracks. They say how much vapour
// the loft and the void hold above outdoors, how much of a quick outdoor
// change they follow (a small regression of the loft's own moisture balance),
// whether the loft answers the house, where condensation falls first, how far
// the covering cools below outdoor air, and how all this changes over the
// winter.
//
// Each figure has, per state, the location and scale of a Student t with 4
// degrees of freedom. Scores are summed with weights below one and floored per
// figure and per group, so that no single logger decides. The survey adds
// log-priors, above all for covering and underlay. States are then assigned to
// causes.
//
// Ceiling_leakage and blocked_ventilation are one state to the loggers. Only
// whether openings exist on paper separates them, and no measurement does. The
// Finding says so each time; with the openings unknown it is Undetermined.
//
// # How a share is shown to have come about
//
// The Ledger sets the leading cause against every other, the runner-up first,
// using the state that gives each most of its share. It has:
//
//   - where both start;
//   - one line per figure, with the nats by which its scores differ (the factor
//     for the places present already included);
//   - one line per thing seen;
//   - the corrections: what the limit on a kind of figure cuts off, how a state is
//     divided among the causes it can be, the doubt that is kept back, the other
//     states that count, and the cap on roofs that the table does not know.
//
// The lines add up to the logarithm of the ratio of the two shares: exactly
// before rounding, and as printed with one line for what rounding lost. A
// figure that its accuracy does not distinguish from zero says so. Its weight
// needs no correction: the scales of the table already contain the errors of
// loggers.
//
// # Assumptions
//
// The roof is pitched (17 to 47 degrees) over a loft with insulation at the
// ceiling. The winter is that of a maritime or cool continental climate. The
// air of each place is well mixed, loggers are within the maker's limits, and
// the outdoor logger is in the shade. The state of the roof does not change
// over the window: readings after a repair that may have changed something are
// not used.
//
// Rafter insulation, flat roofs, a missing underlay and summers hold support
// to 0.6.
//
// # Where it departs from the method as printed
//
// The published table reproduces the printed check values (two measured roofs
// to 0.1 %, the worked check to 0.01), and is kept for that test. Beyond it:
//
//   - a third and a fourth simulation are pooled in by the published rule, the
//     fourth under constants of each house's own (pooled.go);
//   - the weights are fitted on three simulations, the sum is sharpened and a doubt
//     kept back (tuned, pooled.go);
//   - a cause is named if it has 0.45 of the support and is among the causes with
//     0.60, where the method asks for 0.5 of the one or 0.75 of the other: what a
//     state of two faults gives to both does not make either doubtful;
//   - a loft's excess over outdoors that may be a logger's offset (within its
//     accuracy of nothing, not only below it) doubles the scales of the load. With
//     it water_ingress has 0.28 at most of the support on the two measured sound
//     roofs, which had 0.54;
//   - an air-open covering counts -2.5 against a trapped void instead of -1.2, and
//     openings of the loft that are adequate on paper -1.2 instead of nothing, but
//     not against a shut, moist loft; a leak starts with no lead (survey.go);
//   - a cause that can be examined is named although others, for want of loggers,
//     cannot: on 240 winters the rule that withheld it kept back no wrong name
//     where every place was logged, and without indoor air, where a cause now
//     needs 0.6 of the support, 16 right names and no wrong one (30 November
//     2026);
//   - insulation seen against the eaves counts towards blocked_ventilation;
//   - a logger that came late shortens the window instead of being lost;
//   - a long record is read where it is coldest;
//   - a logger with whole-per-cent steps is not taken for a stuck one;
//   - several loggers of one place are levelled before they are averaged;
//   - hourly loggers are read at their own minute instead of being smoothed.
//
// # Measured error rates
//
// Rates holds the figures, how they were obtained, what they are worth,
// and by which version each was measured. In short, on 30 November 2026, on 238
// simulated winters of 120 days, 71 % were named correctly, 12 % wrongly and 17 %
// left undetermined; 2.5 % were wrong with a support over 0.8. On 600 winters of another
// model of roofs and weather (package abroad) these were 65, 10, 25 and 0.8 %. From 0.5 on
// the leading cause is said to have a tenth less than is right. Without the outdoor or
// the loft logger no cause is ever named.
//
// What was tried on 857 winters, 438 of them new, and left out:
//
//   - how the loft's excess went over the winter with threefold scales where it may be
//     the offset of a logger, since an offset drifts: wrong names 118 to 104, right ones
//     574 as before, but two leaks of 60 winters of the second kind were then called
//     cooling by the sky with over 0.8, and what is said fell further short of what is
//     right;
//   - the answer averaged over shifts of each logger's humidity within its accuracy (300
//     abroad: one point fewer wrong, for as little said);
//   - no shut void where the underlay is wet five times as long as the covering (no
//     wrong name fewer in 200);
//   - the lead over the two causes of a shut, moist loft together (no better than the
//     bar of 0.60).
//
// What was tried and left out, on 240 winters at home and 300 abroad that served to
// find the present table: naming by the lead over the runner-up (no better than
// another threshold on the share); a leak named only where the loft's excess is 1.5
// of its own uncertainties (3.6 points fewer right abroad for 0.7 fewer wrong, 4 for
// 3.3 under varied constants); the void's exchange by its temperatures (it tells a
// vented void, not a shut one under an open covering); the difference of the slopes,
// and how the loft follows the house from day to day (alike for all causes).
//
// # What one more logger would tell
//
// While a cause is open, Finding.Settle gives the chance that it is named, and
// rightly, with each missing logger. It is the model's own expectation: a state is
// drawn as likely as it stands, the missing figures as the table says of that state
// (half of the variance common to a group, whose figures repeat each other), and
// the answer is made anew; 200 draws. What was not seen on the survey is taken as
// each of the things it can be. TestSettleTrials sets it beside what the logger
// brought. On 80 winters that had served for nothing (half of roofsim, half abroad,
// seed 95000700; 30 November 2026, by the bar of 0.55), taking each of six loggers away in turn, where
// under 0.2 was said 0 came (n 13); 0.2 to 0.4: 0.46 (24); 0.4 to 0.6: 0.62 (85); 0.6
// to 0.8: 0.83 (280); over 0.8: 0.97 (78).
//
// # Limits
//
// Water_ingress is the weakest cause. A small leak into a well-ventilated loft
// stays within the loggers' accuracy. Rain and plumbing are not distinguished.
// Under 60 days, drying out and a leak differ by the handover date alone.
//
// An outdoor logger that reads low simulates moisture in loft and void
// together: put the loggers side by side first.
//
// None_found and night_sky_cooling are divided by a convention. Wind-driven
// rain, snow on the roof, warm roofs, rooms in the roof and the tropics are
// outside. No real roof with a known fault was available: the two measured
// roofs are sound.
//
// # Objections, and what can be answered
//
// "You tuned it on your own simulator." The table is pooled from four models
// of different physics. Floors are as published, and the shares of our own models
// (a third, then a quarter) were not searched for. Rates are stated on winters
// drawn after that, on two kinds of houses that the table had not seen, and on a
// table that the other physics was left out of.
//
// "The survey decided, not the measurement." Every Support carries
// FromReadings, the support from the readings without the survey. A note says
// when the survey changed the answer; survey lines are marked and weighed
// apart.
//
// "Your loggers are not that accurate." Figures that rest on a difference of
// means carry the offset's uncertainty and share one floor. Those that rest on
// how one track follows another do not respond to a constant offset at all.
//
// "It was a cold winter." Undercooling and condensing hours are of that
// winter. The exchange, the balance between places and the course at equal
// temperature are ratios, and the published method's rates were measured over
// warm, cold and split winters.
//
// "A roof can have two faults." States for two mixtures are scored and named
// as a hint. The table does not know other mixtures; support then spreads,
// which usually ends in Undetermined.
package cause
