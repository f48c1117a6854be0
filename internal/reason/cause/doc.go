// Package cause says which cause of a wet roof the evidence supports, how
// strongly, and what would settle it.
//
// In: the calibrated courses of one case (package series) with its survey, and
// which repairs are known to have changed nothing. Out: a Finding: support for
// each of the seven named causes, summing to one; evidence for and against each,
// measured and seen kept apart; what to fit, look at or wait for; what must be
// said beside it. It never fails and never invents: where a place is not logged
// or the record is short the answer is Undetermined, with the reason.
//
// # Model
//
// Loggers tell physical states of a roof apart, not names of causes. Eight
// states are scored: U house moisture in a loft that is hardly flushed, V loft
// vapour caught in a shut void, VC both, S cooling by the sky alone, W liquid
// water in a loft that is flushed, C the same but fading, WU both W and U, N
// nothing. Seventeen figures are made of hourly courses: how much vapour the
// loft and the void hold above outdoors, how much of a quick outdoor change they
// follow (a small regression of the loft's own moisture balance), whether the
// loft answers the house, where condensation falls first, how far the covering
// cools below outdoor air, and how all this changes over the winter. Each figure
// has, per state, the location and scale of a Student t with 4 degrees of
// freedom; scores are summed with weights below one, floored per figure and per
// group, so that no single logger decides. The survey adds log-priors, the
// covering's and underlay's above all. States are then given to causes.
//
// Ceiling_leakage and blocked_ventilation are one state to the loggers. Whether
// openings exist on paper splits them, and nothing measured: the Finding says so
// each time, and with the openings unknown it is Undetermined.
//
// # How a share is shown to have come about
//
// The Ledger sets the leading cause against every other, the runner-up first, by
// the state that gives each most of its share: where both start, one line for
// each figure with the nats that its scores differ by (the factor for the places
// present already in it), one for each thing seen, and then the corrections: what
// the limit on a kind of figure cuts off, how a state is divided among the causes
// it can be, the other states that count, the cap on roofs the table does not
// know. The lines add up to the logarithm of the ratio of the two shares, exactly
// before rounding, and as printed with a line for what rounding lost. A figure
// that its accuracy does not tell from zero says so; the scales of the table hold
// the errors of loggers already, so that its weight is that of a figure known no
// better.
//
// # Assumptions
//
// A loft under insulation at the ceiling, a pitched roof (17 to 47 degrees), a
// winter of a maritime or cool continental climate, one well-mixed air in each
// place, loggers within the maker's limits, an outdoor logger in the shade,
// and the state of the roof unchanged over the window: readings after a repair
// that may have changed something are not used. Rafter insulation, flat roofs,
// a missing underlay and summers hold support to 0.6.
//
// # Where it departs from the method as printed
//
// The printed check values (two measured roofs to 0.1 %, the worked check to
// 0.01) are reproduced by the published table, which is kept for that test. Then:
// a third simulation is pooled in by the published rule (pooled.go); an air-open
// covering counts -2.0 against a trapped void instead of -1.2 (survey.go);
// insulation seen against the eaves counts towards blocked_ventilation; a logger
// that came late shortens the window instead of being lost; a long record is
// read where it is coldest; a logger of whole-per-cent steps is not taken for a
// stuck one; several loggers of one place are levelled before they are averaged;
// hourly loggers are read at their own minute instead of being smoothed.
//
// # Measured error rates
//
// Rates holds the figures, how they were had, and what they are worth. In short:
// on 240 simulated winters of 120 days that served for nothing else, 70 % were
// named rightly, 12 % wrongly, 18 % left undetermined; 2 % wrongly with a support
// over 0.8; with the openings known 74, 12 and 14 %. Support is calibrated within
// 0.1 there and on two kinds of houses that the table had not seen (68 and 67 %
// right, 12 and 11 % wrong). Without the outdoor or the loft logger nothing is ever named.
//
// # Limits
//
// Water_ingress is the weakest cause: a small leak into a well-aired loft stays
// within the loggers' accuracy; rain and plumbing are not told apart; under 60
// days drying out and a leak differ by the handover date alone. An outdoor
// logger that reads low fakes moisture in loft and void together: put the
// loggers side by side first. None_found and night_sky_cooling are divided by a
// convention. Wind-driven rain, snow on the roof, warm roofs, rooms in the roof
// and the tropics are outside. No real roof with a known fault was available:
// the two measured roofs are sound ones.
//
// # Objections, and what can be answered
//
// "You tuned it on your own simulator." The table is pooled from three models of
// different physics; weights, floors and temperature are as published; the share
// of our own model (a third) was not searched for. Rates are stated on winters
// drawn after that, and on two kinds of houses that the table had not seen.
//
// "The survey decided, not the measurement." Every Support carries FromReadings,
// what the readings give with the survey left out; a note says when the survey
// turned the answer; survey lines are marked and weighed apart.
//
// "Your loggers are not that accurate." Figures that rest on a difference of
// means carry the offset's uncertainty and share one floor; those that rest on
// how one course follows another do not feel a constant offset at all.
//
// "It was a cold winter." Undercooling and condensing hours are of that winter,
// but the exchange, the balance between places and the course at equal
// temperature are ratios; the published method's rates were had over warm, cold
// and split winters.
//
// "A roof can have two faults." States for two mixtures are scored and named as
// a hint; other mixtures are not known to the table, and support then spreads,
// which usually ends in Undetermined.
package cause
