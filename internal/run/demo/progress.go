package demo

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// progress tells a person how far the loading is: a bar that redraws itself on
// a terminal, a line every tenth elsewhere.
type progress struct {
	w        io.Writer
	terminal bool
	total    int
	done     int
	started  time.Time
	now      func() time.Time
	drawn    time.Time
	tenth    int
}

func newProgress(w io.Writer, total int, now func() time.Time) *progress {
	p := &progress{w: w, total: total, now: now, started: now()}
	if f, ok := w.(*os.File); ok {
		p.terminal = term.IsTerminal(int(f.Fd()))
	}
	return p
}

const barWidth = 30

// add counts readings that the broker has acknowledged.
func (p *progress) add(n int) {
	if p.w == nil || p.total == 0 {
		return
	}
	p.done += n
	now := p.now()
	share := float64(p.done) / float64(p.total)
	if !p.terminal {
		if t := int(10 * share); t > p.tenth {
			p.tenth = t
			fmt.Fprintf(p.w, "demo: %3d %% of an invented winter loaded, %s of %s readings\n", 10*t, thousands(p.done),
				thousands(p.total))
		}
		return
	}
	if now.Sub(p.drawn) < 100*time.Millisecond && p.done < p.total {
		return
	}
	p.drawn = now
	full := int(barWidth * share)
	left := ""
	if spent := now.Sub(p.started).Seconds(); spent > 1 && p.done < p.total {
		left = fmt.Sprintf("%3.0f s left", spent/share-spent)
	}
	fmt.Fprintf(p.w, "\r  loading an invented winter [%s%s] %3.0f %%  %s of %s readings  %-12s", strings.Repeat("#", full),
		strings.Repeat(".", barWidth-full), 100*share,
		thousands(p.done), thousands(p.total), left)
}

// end leaves the bar's line.
func (p *progress) end(format string, args ...any) {
	if p.w == nil {
		return
	}
	if p.terminal {
		fmt.Fprintln(p.w)
	}
	fmt.Fprintf(p.w, "demo: "+format+"\n", args...)
}

// thousands writes 205312 as 205,312.
func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
