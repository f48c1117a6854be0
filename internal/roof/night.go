package roof

// NightState is what one night was at a surface.
type NightState int

// The states of a night. NotSeen is the zero value, so that what nobody filled in
// never reads as dry.
const (
	NotSeen NightState = iota
	DryNight
	BrieflyWet
	WetNight
)
