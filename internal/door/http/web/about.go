package web

import (
	"html/template"
	"net/http"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/manual"
)

// aboutBody is how one answer is made, beside the others.
type aboutBody struct {
	Topics []manual.Topic
	Name   string
	Text   template.HTML
}

// about shows how the answers are made, from the methods' own documentation.
func (p *Pages) about(w http.ResponseWriter, r *http.Request) {
	b := aboutBody{Topics: manual.Topics(), Name: chi.URLParam(r, "topic")}
	title := "How the answers are made"
	if b.Name != "" {
		topic, ok := manual.Find(b.Name)
		if !ok {
			p.NotFound(w, r)
			return
		}
		text, err := topic.HTML()
		if err != nil {
			p.fail(w, r, err)
			return
		}
		title, b.Text = topic.Title, text
	}
	p.render(w, r, http.StatusOK, "about", page{Title: title, Tab: "about", Body: b})
}
