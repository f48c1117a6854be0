package payload

import (
	"slices"
	"strings"
)

// Form is how the payload of a mapped topic is written, as the configuration
// file names it.
type Form string

// The forms; the table forms says what each takes and how it is decoded.
const (
	JSONForm   Form = "json"   // values are picked out by pointers
	NumberForm Form = "number" // the payload is one bare number
	SenMLForm  Form = "senml"  // SenML by its units
	NativeForm Form = "native" // as on the native topic
	CBORForm   Form = "cbor"   // as json, in CBOR
	LineForm   Form = "line"   // line protocol of agents that gather metrics
	TextForm   Form = "text"   // text that names its values, or holds them in a row
	BTHomeForm Form = "bthome" // an advertisement in BTHome version 2
	RAWv2Form  Form = "rawv2"  // an advertisement in RAWv2
	IgnoreForm Form = "ignore" // nothing to read: availability, firmware and the like
)

// formRow is what the program knows of one form.
type formRow struct {
	form Form
	// fields says that the mapping lists the quantities; pointers, that its keys
	// point into the payload: where, each, time, logger_pointer and the fields'.
	fields, pointers bool
	// units says that the form itself has names and units, so that fields need not be
	// listed; each, that the form has elements of its own.
	units, each bool
	// decode decodes a message of the form whose case, and logger unless the
	// payload tells it, are known; false means that the message does not meet the
	// mapping's conditions. nil: there is nothing to decode.
	decode func(d *Decoder, m *decoding, p *mapping, c captured) bool
}

var forms = []formRow{
	{JSONForm, true, true, false, false, (*Decoder).json},
	{NumberForm, true, false, false, false, (*Decoder).number},
	{SenMLForm, false, false, false, false, (*Decoder).senMLPack},
	{NativeForm, false, false, false, false, (*Decoder).nativeOnOtherTopic},
	{CBORForm, true, true, false, false, (*Decoder).cbor},
	{LineForm, true, true, false, true, (*Decoder).line},
	{TextForm, true, true, false, false, (*Decoder).text},
	{BTHomeForm, true, true, true, true, (*Decoder).frame},
	{RAWv2Form, true, true, true, true, (*Decoder).frame},
	{IgnoreForm, false, false, false, false, nil},
}

// row finds a form in the table; false where there is none of that name.
func (f Form) row() (formRow, bool) {
	if i := slices.IndexFunc(forms, func(r formRow) bool { return r.form == f }); i >= 0 {
		return forms[i], true
	}
	return formRow{}, false
}

// formNames lists the names of the forms as the configuration file writes them.
func formNames() (out []string) {
	for _, r := range forms {
		out = append(out, string(r.form))
	}
	return out
}

// oneOf joins names for a remedy: a, b or c.
func oneOf(names []string) string {
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}
