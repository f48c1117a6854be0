package web

import (
	"net/http"
	"time"
)

// Discovery says which descriptions are exchanged with home automation by the open
// discovery convention.
type Discovery struct {
	Announce bool      `json:"announce"` // houses' figures to home automation
	Listen   bool      `json:"listen"`   // to sensors that announce themselves
	By       string    `json:"by"`       // who switched it; "" the configuration
	At       time.Time `json:"at"`
}

// switchDiscovery turns either direction on or off.
func (p *Pages) switchDiscovery(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	to := Discovery{Announce: r.PostFormValue("announce") == "yes", Listen: r.PostFormValue("listen") == "yes",
		By: p.who(r)}
	if err := p.inbox.Switch(r.Context(), to); err != nil {
		p.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/messages?switched=yes#discovery", http.StatusSeeOther)
}
