package report

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/mechanism"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// opened is a void that was opened.
func opened(at time.Time) mechanism.Result {
	factor, low, high, since := 15.0, 4.2, 57.0, 8
	return mechanism.Result{What: roof.VoidVentilation, Position: "void", Factor: &factor, Low: &low, High: &high,
		Credited: true, Verdict: mechanism.Changed, SinceNights: &since,
		Said: words.Exchange{What: "void_ventilation", Kind: words.Changed, Credited: true, At: at, Zone: time.UTC,
			Factor: &factor, Low: &low, High: &high, Since: since}}
}

// What the work changed stands beside whether it helped, and before it.
func TestTheReportTellsBothAnswers(t *testing.T) {
	s := source(t)
	all := ""
	everyText(document(t, s), func(x Text) { all += x.String() + "\n" })
	work := strings.Index(all, "the void exchanges about 15 times as much air")
	require.Positive(t, work)
	verdict := strings.Index(all[work:], s.Answer.Verdict(s.Case, 0).Headline())
	assert.Positive(t, verdict)
	assert.Contains(t, all, "Whether fewer hours are wet is another question.")
}
