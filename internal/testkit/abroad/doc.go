// Package abroad lets the houses of [roofsim.World] live through winters by
// other physics than those of package roofsim, so that what was tuned on the one
// is judged on the other. It shares with it the description of a house, the
// record of a winter and the saturation of water vapour, and nothing else:
//
//   - air: no pressure network. Each path has a flow of its own by the leakage
//     area of the whole path, stack and wind added in quadrature (Sherman and
//     Grimsrud 1980), cracks with the exponent 0.65;
//   - heat: linear film coefficients, a covering that radiates to a sky by Prata
//     (1996) and Unsworth and Monteith (1975), wind by McAdams' straight line, and
//     an insulation surface that radiates to the underlay past the loft's air;
//   - wood: a surface layer and a core with Oswin's isotherm, not a layered slab;
//     plaster and covering are one store each;
//   - weather: spells of seven kinds that follow each other (an anticyclone, gloom,
//     a front ...), a day drawn by Parton and Logan's curve (1981) and a dew point
//     from the night's least temperature, instead of correlated noise;
//   - household: hours of a timetable with drawn events.
//
// Films run off, drip and freeze by simpler rules. All constants are textbook
// values or judgement, set before any cause was judged on these winters, and the
// only ones looked at afterwards were those that a test names (levels of vapour,
// exchange of air and undercooling that trade and handbooks give).
//
// RunVaried gives each house constants of its own, within the bounds that handbooks
// and papers span: how a table behaves where no two roofs obey the same numbers. Its
// formulas are those of Run, so that a table found on the one has met the other's kin.
//
// # Limits
//
// Those of roofsim: one well-mixed air space each, no snow, no wet patch beside a
// dry one, invented weather. Air is balanced by construction only (every flow is
// an exchange); the pressure of a fan in the house is not felt in the loft.
package abroad
