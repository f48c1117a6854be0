// Package roofsim simulates winters of invented houses, so that the analysis
// can be judged against a truth it does not know.
//
// # What it is for
//
// A World is one drawn house: build, openings as they really are and as they
// stand on paper, household and climate. Run lets it live through a winter and
// returns the true state of every place on a regular grid, with the condensing
// hours; a repair may be made on the way, and the same house can be run
// unrepaired, in the same weather and with the same household, as the truth to
// compare with. Kit.Measure turns a winter into what real loggers would
// have reported, with makers' offsets, drift, gaps, stuck probes and wrong
// clocks, and into the case file that belongs to it.
//
// # Formulation, on purpose other than the one used by the analysis
//
// The analysis describes loft and void by relative conductances with reservoirs
// of fitted time constants. Here nothing is relative and nothing is fitted:
//   - an air-flow network (house, loft, two batten voids, outdoors) with stack
//     and wind pressure through orifices of stated area, solved for the zone
//     pressures at every step (network.go);
//   - a heat balance with the clear-sky emissivity of Berdahl and Martin, cloud,
//     sun on both slopes, wind-driven convection, latent heat and the thermal
//     mass of covering and timber (heat.go);
//   - vapour mass balances in kilograms, implicit in time, with diffusion through
//     ceiling and underlay, films of dew or frost that form, drain, drip and
//     dry (vapour.go), and timber as layered slabs with a sorption isotherm of
//     Hansen's form and temperature-dependent equilibrium (slab.go);
//   - weather from several correlated random processes on a daily and seasonal
//     course (weather.go) and a household of people, baths, pots, washing,
//     windows, absences and guests (household.go).
//
// Everything follows from a seed: the same seed gives the same winter, bit for
// bit, on one machine.
//
// # Limits
//
// One well-mixed node per air space and slope: no difference between eaves and
// ridge, no local cold spot behind a chimney, no wet patch beside a dry one
// (a leak is a patch of stated area in the loft). No snow cover on the roof, no
// rain soaking the covering from above, no hygroscopic insulation, no rafter
// insulation and no flat roof. Timber has one temperature for its depth. Wind
// pressure coefficients are those of a detached house on all bearings. Open
// coverings of the first kind of houses are tighter than the trade's rule for
// one, and some of its single-cause worlds are mixtures in truth (see Houses and
// SecondKind, which mend both; the first is kept because figures were taken on
// it). In the worst ceilings underlays stay wet for longer than most are seen
// to. Weather
// is statistically like a maritime or a cool continental winter, and is not any
// real year. Constants marked "from memory" in the code are ordinary textbook
// values that were not checked on paper. The model was never fitted to measured
// roofs; it is compared with published figures and trade experience in its
// tests.
package roofsim
