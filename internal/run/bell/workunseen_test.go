package bell

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// repaired is a simulated house whose void was declared open after 40 days, with
// the readings of 75; opened says whether it truly was. The record is moved so that
// it ends days after now.
func repaired(t *testing.T, opened bool, now time.Time, days int) *roofsim.Measured {
	t.Helper()
	world := roofworlds.Draw(7, roofsim.UnventedBattenVoid)
	wide := 25.0
	rep := roofsim.Repair{At: world.Start.AddDate(0, 0, 40).Add(10 * time.Hour)}
	if opened {
		rep.VoidEavesMM, rep.VoidRidgeMM = &wide, &wide
	}
	m := roofworlds.Kit{CaseID: "rowan-8", Interval: time.Hour}.Measure(
		roofsim.Run(world, roofsim.Options{Days: 75, Repairs: []roofsim.Repair{rep}}), 7)
	ends := world.Start
	for _, r := range m.Readings {
		if r.At.After(ends) {
			ends = r.At
		}
	}
	shift := now.AddDate(0, 0, days).Sub(ends).Truncate(24 * time.Hour)
	for i := range m.Readings {
		m.Readings[i].At = m.Readings[i].At.Add(shift)
		m.Readings[i].Arrived = m.Readings[i].At
	}
	c := m.Case
	for i := range c.Loggers {
		for k := range c.Loggers[i].Fitted {
			c.Loggers[i].Fitted[k].From = c.Loggers[i].Fitted[k].From.Add(shift)
		}
	}
	for i := range c.Events {
		e := &c.Events[i]
		e.At = e.At.Add(shift)
		if e.Kind == roof.Repair {
			e.Changes, e.Treats = []roof.Change{roof.VoidVentilation}, []string{"void", "slate"}
			e.Opened = roof.Openings{VoidEavesMM: &wide, VoidRidgeMM: &wide}
		}
	}
	c.Contacts = roof.Contacts{Consultant: []string{"carl@example.org"}, Householder: []string{"ann@example.org"}}
	return m
}

// A void that was declared cut through and is not is asked after: by a letter to
// the consultant, once, and to nobody else. One that was cut through is not.
func TestAVoidThatWasDeclaredOpenAndIsNotIsAskedAfter(t *testing.T) {
	if testing.Short() {
		t.Skip("some assessments; run without -short")
	}
	for name, opened := range map[string]bool{"still shut": false, "cut through": true} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := live(t, nil)
				s.log.honest.Store(true)
				const watched = 3
				now := time.Now()
				m := repaired(t, opened, now, watched)
				s.Cases.(*town).have(m.Case)
				for hour := now; hour.Before(now.AddDate(0, 0, watched)); hour = hour.Add(time.Hour) {
					var due []roof.Reading
					for _, r := range m.Readings {
						if !r.At.After(hour) && (hour.Equal(now) || r.At.After(hour.Add(-time.Hour))) {
							due = append(due, r)
						}
					}
					s.log.store(t, s.Bell, m.Case.ID, due...)
					time.Sleep(time.Hour)
				}
				synctest.Wait()
				var letters []alert.Message
				s.mail.mu.Lock()
				for _, x := range s.mail.got {
					if strings.Contains(x.Text, "cut through") {
						letters = append(letters, x)
					}
				}
				s.mail.mu.Unlock()
				rows, err := s.Alerts(t.Context(), m.Case.ID)
				require.NoError(t, err)
				raised := 0
				for _, x := range rows {
					if x.Condition == alert.WorkUnseen {
						raised++
					}
				}
				if opened {
					assert.Zero(t, raised)
					assert.Empty(t, letters)
					return
				}
				assert.Equal(t, 1, raised)
				require.Len(t, letters, 1)
				assert.Equal(t, alert.Consultant, letters[0].To)
				assert.Contains(t, letters[0].Text, "is the void cut through?")
			})
		})
	}
}
