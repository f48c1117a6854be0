// Package demo invents houses and a winter and publishes what their loggers
// would have sent, over real MQTT: months of history first, as loggers that were
// out of reach catch up, then the last hours at a speed-up, then in real time.
//
// Nothing here was measured. The physics is roofsim's; the town, the houses and
// the people are invented. The town lies where the calendar has a winter that a
// record running on to now can hold, so that every date fits its season.
package demo
