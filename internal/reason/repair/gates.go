package repair

// The conditions that must hold before any verdict other than too_early, by the
// names that Gate carries.
const (
	GateNights  = "nights"
	GateWeather = "weather for water to form"
	GateFit     = "fit"
	GateSame    = "same roof before and after"
	GateLike    = "like weather"
)

// Gates lists the names of all conditions, in the order in which they are judged.
func Gates() []string { return []string{GateNights, GateWeather, GateFit, GateSame, GateLike} }
