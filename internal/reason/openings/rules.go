package openings

import "slices"

// Standing says how far a figure is confirmed.
type Standing string

// The standings a figure can have.
const (
	Confirmed  Standing = "confirmed"   // read on a public page that quotes the standard or code
	Secondary  Standing = "secondary"   // read on one page only, or a summary of a summary
	FromMemory Standing = "from memory" // not seen: check before relying on it
)

// Figure is one number of a rule set with its source.
type Figure struct {
	ID       string
	Value    float64
	Unit     string
	Source   string
	Standing Standing
}

// The rule sets.
const (
	UK        = "uk-bs5250"
	UKNHBC    = "uk-nhbc"
	Germany   = "de-din4108-3"
	USA       = "us-irc-r806"
	Australia = "au-ncc-2022"
	Default   = UK
)

// RuleSet describes one selectable set of rules.
type RuleSet struct {
	ID, Region, Title, Remark string
}

// RuleSets lists them, the default first.
func RuleSets() []RuleSet {
	return []RuleSet{
		{UK, "United Kingdom", "BS 5250 as quoted by makers and advisers",
			"Ireland and Scotland point to the same standard."},
		{UKNHBC, "United Kingdom", "BS 5250 with the high-level opening that NHBC asks for over a vapour-permeable underlay",
			"New homes with that warranty."},
		{Germany, "Germany", "DIN 4108-3 and the roofers' leaflet of 2015",
			"Sizes by area of the slope, with a least size per metre."},
		{USA, "United States", "IRC R806", "Sizes by area of the attic. The ratios 1/150 and 1/300 rest on one " +
			"measurement in one old study: a target, no proof."},
		{Australia, "Australia", "NCC 2022 Housing Provisions 10.8.3 (climate zones 6 to 8)",
			"From memory throughout; the 2025 edition changes the pitch classes."},
	}
}

// Known reports whether a rule set is one of ours; "" is the default.
func Known(id string) bool {
	return id == "" || slices.ContainsFunc(RuleSets(), func(s RuleSet) bool { return s.ID == id })
}

// Where the figures were read. The pages quote the standards; no standard was
// seen in full.
const (
	marley    = "BS 5250 as quoted by marley.co.uk, how do I ventilate a cold roof"
	glidevale = "BS 5250 as quoted by glidevaleprotect.com (did you know) and marley.co.uk (counter battens)"
	warmPage  = "BS 5250 as quoted by marley.co.uk, warm roof ventilation requirements"
	din       = "DIN 4108-3 as quoted by baukobox.de, ziegeldach.de and hbz-nord.de"
	zvdh      = "roofers' leaflet (ZVDH) 2015 as quoted by hbz-nord.de"
	ircCity   = "IRC R806.2 as quoted by a city code copy (ci.sauk-rapids.mn.us) and jlconline.com"
	ircNew    = "IRC R806.2 (2012 on), summaries on two pages"
	ncc       = "NCC 2022 table 10.8.3"
)

const mmContinuous = "mm continuous"

// The figures, in mm of continuous slot unless said otherwise.
var (
	ukHRLow        = Figure{"uk-hr-low-pitch-eaves", 25, mmContinuous, marley, Confirmed}
	ukHR           = Figure{"uk-hr-eaves", 10, mmContinuous, marley, Confirmed}
	ukHigh         = Figure{"uk-hr-high-level", 5, mmContinuous, marley, Confirmed}
	ukLRSealed     = Figure{"uk-lr-sealed-eaves", 3, mmContinuous, marley, Confirmed}
	ukLRSealedHigh = Figure{"uk-lr-sealed-high-level", 5, mmContinuous, marley, Confirmed}
	ukLR           = Figure{"uk-lr-eaves", 7, mmContinuous,
		"BS 5250 as quoted by one secondary page; memory of the 2011 edition agrees", Secondary}
	ukVoidLow  = Figure{"uk-void-eaves", 25, mmContinuous, glidevale, Confirmed}
	ukVoidHigh = Figure{"uk-void-ridge", 5, mmContinuous + ", each side of the ridge", glidevale, Confirmed}
	ukCounter  = Figure{"uk-counter-batten", 25, "mm", glidevale, Confirmed}
	ukCavity   = Figure{"uk-void-depth", 50, "mm", "maker guidance, marley.co.uk (counter battens)", Confirmed}
	ukWarmLow  = Figure{"uk-warm-eaves", 25, mmContinuous, warmPage, Confirmed}
	ukWarmHigh = Figure{"uk-warm-ridge", 5, mmContinuous, warmPage, Confirmed}
	ukWarmPath = Figure{"uk-warm-path", 50, "mm", warmPage, Confirmed}
	nhbcHigh   = Figure{"uk-nhbc-high-level", 5, mmContinuous,
		"NHBC directive for homes started from 2011, as quoted by two trade pages", Confirmed}
	lowPitch   = Figure{"uk-low-pitch", 15, "deg", marley, Confirmed}
	steepPitch = Figure{"uk-steep-pitch", 35, "deg", marley, Confirmed}
	wideSpan   = Figure{"uk-wide-span", 10, "m", marley, Confirmed}

	deLowShare  = Figure{"de-eaves-share", 2, "per mille of the slope", din, Confirmed}
	deLowLeast  = Figure{"de-eaves-least", 200, "cm2/m", din, Confirmed}
	deHighShare = Figure{"de-ridge-share", 0.5, "per mille of the slope", din, Confirmed}
	deHighLeast = Figure{"de-ridge-least", 50, "cm2/m", din, Confirmed}
	deHeight    = Figure{"de-clear-height", 20, "mm", din, Confirmed}
	deSd        = Figure{"de-sd-below", 2, "m", din, Confirmed}
	deCounter8  = Figure{"de-counter-batten-8m", 30, "mm", zvdh, Confirmed}
	deCounter12 = Figure{"de-counter-batten-12m", 40, "mm", zvdh, Confirmed}
	deCounterUp = Figure{"de-counter-batten-over", 60, "mm", zvdh, Confirmed}

	us150    = Figure{"us-default-ratio", 150, "attic area over net free area", ircCity, Confirmed}
	us300    = Figure{"us-balanced-ratio", 300, "attic area over net free area", ircNew, Secondary}
	usHighPc = Figure{"us-high-share", 40, "% of the area, at the least, near the top", ircNew, Secondary}
	usGap    = Figure{"us-eaves-gap", 25, "mm", "IRC R806.3 as quoted by evstudio.com and a city code copy", Confirmed}

	auFlat     = Figure{"au-under-10", 25, mmContinuous, ncc, FromMemory}
	auMid      = Figure{"au-10-to-15-eaves", 25, mmContinuous, ncc, FromMemory}
	auSteep    = Figure{"au-15-to-75-eaves", 7, mmContinuous, ncc, FromMemory}
	auHigh     = Figure{"au-high-level", 5, mmContinuous, ncc, FromMemory}
	auParallel = Figure{"au-parallel-extra", 18, mmContinuous, ncc, FromMemory}
)
