package words

import "dewcase/internal/roof"

// The names under which home automation shows a house's figures.
const (
	AnnouncedWet    = "Wet now"
	AnnouncedAlert  = "Alert in force"
	AnnouncedChance = "Chance of water tonight"
)

// AnnouncedMargin names the margin of a surface for home automation.
func AnnouncedMargin(p roof.Position) string { return "Margin, " + Position(p) }

// AnnouncedDewPoint names the dew point of an air position for home automation.
func AnnouncedDewPoint(p roof.Position) string { return "Dew point, " + Position(p) }
