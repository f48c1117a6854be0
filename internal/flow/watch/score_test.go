package watch

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/outlook"
)

// back is a course as it was known at row i, over the rows before it.
func back(c outlook.Course, i, rows int) outlook.Course {
	a := max(0, i-rows)
	cut := func(x []float64) []float64 { return x[a:i] }
	c.FromMS += int64(a) * hourMS
	c.WetH, c.ObservedH, c.MarginK, c.LimitC, c.OutdoorC, c.OutdoorDewC = cut(c.WetH), cut(c.ObservedH), cut(c.MarginK),
		cut(c.LimitC), cut(c.OutdoorC), cut(c.OutdoorDewC)
	return c
}

// foretold is one night's outlook and what came of it.
type foretold struct {
	P, Climatology float64
	LastNight      bool
	Wet            bool
}

// score holds outlooks against what came.
type score struct {
	Nights, Wet int
	Brier       float64 // mean square of chance less outcome; 0 is perfect
	// Skill is 1 - Brier/Brier of the reference (Wilks, Statistical Methods in
	// the Atmospheric Sciences, ch. 8, from memory): against "same as last
	// night", and against this roof's own share of wet nights so far.
	SkillPersistence, SkillClimatology float64
	Bins                               []bin
}

// bin is one line of a reliability table.
type bin struct {
	From, Until  float64
	Nights       int
	Said, Became float64 // mean chance, share of wet nights
}

// judge scores nights.
func judge(nights []foretold) score {
	s := score{Nights: len(nights), Bins: make([]bin, 5)}
	var persistence, climatology float64
	sq := func(p float64, wet bool) float64 {
		y := 0.0
		if wet {
			y = 1
		}
		return (p - y) * (p - y)
	}
	for _, n := range nights {
		s.Brier += sq(n.P, n.Wet)
		last := 0.0
		if n.LastNight {
			last = 1
		}
		persistence += sq(last, n.Wet)
		climatology += sq(n.Climatology, n.Wet)
		b := &s.Bins[min(int(n.P*5), 4)]
		b.Nights++
		b.Said += n.P
		if n.Wet {
			s.Wet++
			b.Became++
		}
	}
	if s.Nights == 0 {
		return s
	}
	s.SkillPersistence, s.SkillClimatology = 1-s.Brier/math.Max(persistence, 1e-9), 1-s.Brier/math.Max(climatology, 1e-9)
	s.Brier /= float64(s.Nights)
	for i := range s.Bins {
		b := &s.Bins[i]
		b.From, b.Until = float64(i)/5, float64(i+1)/5
		if b.Nights > 0 {
			b.Said /= float64(b.Nights)
			b.Became /= float64(b.Nights)
		}
	}
	return s
}

// String is the score with its reliability table.
func (s score) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d nights, %d wet, Brier %.3f, skill %.2f against last night, %.2f against climatology", s.Nights,
		s.Wet, s.Brier, s.SkillPersistence, s.SkillClimatology)
	for _, x := range s.Bins {
		if x.Nights > 0 {
			fmt.Fprintf(&b, "; said %.2f came %.2f (%d)", x.Said, x.Became, x.Nights)
		}
	}
	return b.String()
}

func TestJudgeKnowsTheReferences(t *testing.T) { // by hand
	s := judge([]foretold{{P: 1, Climatology: .5, LastNight: false, Wet: true},
		{P: 0, Climatology: .5, LastNight: false, Wet: false}})
	assert.Equal(t, 0.0, s.Brier)
	assert.Equal(t, 1.0, s.SkillPersistence)
	assert.Equal(t, 1.0, s.SkillClimatology)
	s = judge([]foretold{{P: .5, Climatology: .5, LastNight: true, Wet: true}})
	assert.Equal(t, 0.25, s.Brier)
	assert.Equal(t, 0.0, s.SkillClimatology)
}
