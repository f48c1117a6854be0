// Package outlook says in the evening how likely water is to form on a surface
// in the night: a probability from the day's course and this very roof's recent
// nights, learnt night by night on top of what roofs in general do. Nothing is
// assumed about the weather to come unless a forecast is given.
package outlook

