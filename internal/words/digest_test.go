package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestTheDailySummarySaysEachKindOfAlert(t *testing.T) {
	since := time.Date(2026, 11, 23, 7, 30, 0, 0, time.UTC)
	until := time.Date(2026, 12, 2, 2, 30, 0, 0, time.UTC)
	one := words.Alert{Condition: words.LoggerSilent, Position: "k2", Since: since}
	d := words.Digest{InForce: 4, New: 1, Over: 1, Houses: []words.DigestHouse{
		{Label: "3 Larch Row", Link: "https://roof.example.org/cases/larch-3/alerts",
			Lost: []string{"mail to ann@example.org: no such user"},
			Alerts: []words.DigestAlert{{Alert: one}, {Alert: one, New: true}, {Alert: one, State: "acknowledged"},
				{Alert: one, State: "snoozed", QuietUntil: until}, {Alert: one, Over: until}}},
		{Label: "1 Dry Lane", Alerts: []words.DigestAlert{{Alert: words.Alert{Condition: words.BatteryLow, Position: "k1",
			Detail: "12 %"}}}},
	}}
	assert.Equal(t, "Roofs today: 4 in force, 1 new, 1 over", d.Subject())
	assert.Equal(t, `3 Larch Row
- Logger silent (k2), since Mon 23 Nov 2026 07:30
- Logger silent (k2), since Mon 23 Nov 2026 07:30 (new)
- Logger silent (k2), since Mon 23 Nov 2026 07:30 (seen)
- Logger silent (k2), since Mon 23 Nov 2026 07:30 (quiet until Wed 2 Dec 02:30)
- Over: Logger silent (k2), since Mon 23 Nov 2026 07:30, until Wed 2 Dec 02:30
- Not delivered: mail to ann@example.org: no such user
https://roof.example.org/cases/larch-3/alerts

1 Dry Lane
- Battery low (k1): 12 %

This summary comes at most once a day: when something is new or over, and on Mondays while anything is in force.`,
		d.Text())
}

func TestALetterToTheConsultantNamesAlertsEvidenceAndCautions(t *testing.T) {
	assert.Equal(t, "logger silent", words.ConsultantSubject(words.LoggerSilent, 1, false))
	assert.Equal(t, "timber damp and 2 more, not seen by the household", words.ConsultantSubject(words.TimberWet, 3, true))
	assert.Equal(t, "Timber damp.", words.ConsultantLetter([]string{"Timber damp."}, "", nil, "Local law decides."))
	assert.Equal(t, `Timber damp.

Evidence and what was sent: https://roof.example.org/a

Before anyone goes up: Step only on joists or boards.

Local law decides.`, words.ConsultantLetter([]string{"Timber damp."},
		"https://roof.example.org/a", []string{"Step only on joists or boards."}, "Local law decides."))
}
