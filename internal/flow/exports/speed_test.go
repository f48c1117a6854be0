package exports

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
)

var sixLoggers = []string{"k7-indoor", "k7-loft", "k7-void", "k7-slate", "k7-outside", "k7-void-e"}

// forms is a winter of six loggers, minute by minute: as a readings file, with a
// row a reading, and with a pair of columns a logger.
func forms(days int) (canonical, long, wide []byte) {
	rng := rand.New(rand.NewPCG(1, 2))
	start := time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	berlin, _ := time.LoadLocation("Europe/Berlin")
	var c, l, w bytes.Buffer
	c.WriteString("time,logger,temp_c,rh_pct\n")
	l.WriteString("Datum;Uhrzeit;Gerät;Temperatur [°C];Feuchte [%]\n")
	w.WriteString("Zeit")
	for _, logger := range sixLoggers {
		fmt.Fprintf(&w, ";%s Temperatur [°C];%s Feuchte [%%]", logger, logger)
	}
	w.WriteString("\n")
	decimals := func(x float64, n int) []byte {
		return bytes.Replace(fmt.Appendf(nil, "%.*f", n, x), []byte("."), []byte(","), 1)
	}
	for m := range days * 24 * 60 {
		at := start.Add(time.Duration(m) * time.Minute)
		local := at.In(berlin)
		w.WriteString(local.Format("02.01.2006 15:04"))
		for _, logger := range sixLoggers {
			temp, rh := rng.Float64()*30-10, 50+rng.Float64()*50
			fmt.Fprintf(&c, "%s,%s,%.2f,%.1f\n", at.Format(time.RFC3339), logger, temp, rh)
			fmt.Fprintf(&l, "%s;%s;", local.Format("02.01.2006;15:04:05"), logger)
			fmt.Fprintf(&l, "%s;%s\n", decimals(temp, 2), decimals(rh, 1))
			fmt.Fprintf(&w, ";%s;%s", decimals(temp, 2), decimals(rh, 1))
		}
		w.WriteString("\n")
	}
	return c.Bytes(), l.Bytes(), w.Bytes()
}

func takeAll(t testing.TB, data []byte) int {
	p, err := Look(textOf("x.csv", data), Answers{Zone: "Europe/Berlin"}, House{Loggers: sixLoggers})
	require.NoError(t, err)
	require.Empty(t, p.Questions)
	n := 0
	_, err = p.Read(now, func(roof.Reading, int) error { n++; return nil })
	require.NoError(t, err)
	return n
}

func BenchmarkWinter(b *testing.B) {
	canonical, long, wide := forms(180)
	b.Run("canonical", func(b *testing.B) {
		for b.Loop() {
			_, err := csvreadings.Read("x.csv", bytes.NewReader(canonical), now, func(roof.Reading, int) error { return nil })
			require.NoError(b, err)
		}
	})
	for name, data := range map[string][]byte{"long": long, "wide": wide} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				require.Equal(b, 180*24*60*6, takeAll(b, data))
			}
		})
	}
}
