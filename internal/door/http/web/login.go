package web

import (
	"net/http"
)

// loginBody is the log-in form, or with SetUp the one that sets the password.
type loginBody struct {
	Next, Fault string
	SetUp       bool
}

func (p *Pages) loginForm(w http.ResponseWriter, r *http.Request) {
	if p.LogIn == nil || !p.LogIn.Demanded() {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	p.login(w, r, http.StatusOK, ownPath(r.URL.Query().Get("next")), "")
}

func (p *Pages) login(w http.ResponseWriter, r *http.Request, status int, next, fault string) {
	title, setUp := "Log in", p.LogIn.SetUp()
	if setUp {
		title = "Set the consultant’s password"
	}
	p.render(w, r, status, "login", page{Title: title, Tab: "login", Body: loginBody{next, fault, setUp}})
}

func (p *Pages) logIn(w http.ResponseWriter, r *http.Request) {
	if p.LogIn == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	next, password := ownPath(r.PostFormValue("next")), r.PostFormValue("password")
	var ok, tired bool
	wrong := "That is not the password."
	if code := r.PostFormValue("code"); code == "" {
		ok, tired = p.LogIn.LogIn(r, password)
	} else if len(password) < shortestPassword || password != r.PostFormValue("again") {
		p.login(w, r, http.StatusUnprocessableEntity, next,
			"Use at least 8 characters, the same in both fields.")
		return
	} else {
		var err error
		wrong = "That is not the code. Every start of the daemon makes a new one, and each works once."
		if ok, tired, err = p.LogIn.SetPassword(r, code, password); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	switch {
	case tired:
		p.login(w, r, http.StatusTooManyRequests, next, "Too many wrong tries from this address. Wait a minute.")
	case !ok:
		p.login(w, r, http.StatusForbidden, next, wrong)
	default:
		http.Redirect(w, r, next, http.StatusSeeOther)
	}
}

// shortestPassword is what `dewcase password` asks for, too.
const shortestPassword = 8

func (p *Pages) logOut(w http.ResponseWriter, r *http.Request) {
	if p.LogIn != nil {
		if err := p.LogIn.LogOut(r); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}

// ownPath keeps a redirect on this site.
func ownPath(s string) string {
	if len(s) == 0 || s[0] != '/' || len(s) > 1 && (s[1] == '/' || s[1] == '\\') {
		return "/"
	}
	for i := range len(s) {
		if s[i] < ' ' || s[i] == '\\' {
			return "/"
		}
	}
	return s
}
