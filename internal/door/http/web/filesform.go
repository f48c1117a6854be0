package web

import (
	"cmp"
	"maps"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/exports"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// add takes one more file of the kind, with what is asked of it.
func (k *kindForm) add(c *roof.Case, one fileLook, form url.Values) {
	k.Files = append(k.Files, one)
	for _, p := range one.Plans {
		if p.Canonical {
			continue
		}
		if p.Recipe != "" {
			k.Recipe = p.Recipe
		}
		for _, d := range p.Questions {
			k.ask(c, p, d, form)
		}
		k.names(c, p, form)
		if p.RowAValue {
			k.question(pairQuestion(k.Key, p.Pair))
		}
	}
	k.again(c, form)
	k.station(c, form)
	if k.Keep = form.Get(k.Key + ".keep"); !form.Has(k.Key + ".keep") {
		k.Keep = cmp.Or(k.Recipe, "files-"+k.Key[:4])
	}
}

// ask adds a question; a kind asks each once, but for which logger a file is of.
func (k *kindForm) ask(c *roof.Case, p *exports.Plan, d words.FileDoubt, form url.Values) {
	if d.Kind == words.DoubtColumns {
		k.columns(p, form)
		return
	}
	k.question(questionOf(k.Key, c, d))
}

// askedNames bounds the names of a file that are asked after.
const askedNames = 40

// names asks which logger of the house a name in the file is that the house does
// not have; no answer leaves it a logger of its own.
func (k *kindForm) names(c *roof.Case, p *exports.Plan, form url.Values) {
	stem := exports.Stem(p.Text.Name)
	for _, n := range p.Names[:min(len(p.Names), askedNames)] {
		field := k.Key + ".logger." + n.Name
		if n.Name == stem || n.Known && form.Get(field) == "" || len(c.Loggers) == 0 {
			continue
		}
		q := questionForm{Field: field, Label: words.WhichIsNamed(n.Name), Unless: words.LoggerOfItsOwn(n.Name),
			Keep: k.Key + ".always." + n.Name}
		for _, l := range c.Loggers {
			q.Choices = append(q.Choices, answerChoice{l.ID, l.ID})
		}
		k.question(q)
	}
}

// question adds a question that the kind does not ask yet.
func (k *kindForm) question(q questionForm) {
	for _, have := range k.Questions {
		if have.Field == q.Field {
			return
		}
	}
	if len(q.Choices) > 0 {
		k.Questions = append(k.Questions, q)
	}
}

// station asks whether the file is of a weather station elsewhere, where it can be:
// it measures rain, wind or sun, or its logger hangs nowhere in the house.
func (k *kindForm) station(c *roof.Case, form url.Values) {
	ask := false
	for _, f := range k.Files {
		for _, p := range f.Plans {
			id, one := p.OneLogger()
			_, known := c.Logger(id)
			ask = ask || !p.Canonical && casefile.CanBeStation(c, id) && (one && !known && len(k.Files) == 1 ||
				p.Weather() && (one || len(p.Names) == 0))
		}
	}
	if k.Station = nil; !ask {
		return
	}
	key := k.Key + "."
	k.Station = &stationForm{Yes: form.Get(key+"station") != "", Source: form.Get(key + "station_source"),
		KM: form.Get(key + "station_km"), AboveM: form.Get(key + "station_m")}
	if _, ok := stationOf(form, key); !ok && k.Station.Yes {
		k.Station.Fault = words.StationWrong
	}
}

// stationOf reads what is known of a weather station; ok is false where a number is
// none that can be.
func stationOf(form url.Values, key string) (at *roof.Station, ok bool) {
	at, ok = &roof.Station{Source: strings.TrimSpace(form.Get(key + "station_source"))}, true
	number := func(field string, low, high float64) *float64 {
		text := strings.Replace(strings.TrimSpace(form.Get(key+field)), ",", ".", 1)
		if text == "" {
			return nil
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || !(x >= low && x <= high) {
			ok = false
			return nil
		}
		return &x
	}
	at.DistanceKM = number("station_km", 0, casefile.MaxStationKM)
	at.HeightDifferenceM = number("station_m", -casefile.MaxStationM, casefile.MaxStationM)
	return at, ok
}

// pairQuestion asks how far apart the halves of one reading may stand; what is in
// force, by a recipe or not at all, is chosen.
func pairQuestion(key string, inForce time.Duration) questionForm {
	seconds := []int{30, 60, 120, 300, 600}
	now := max(int(inForce.Seconds()), 0)
	if now > 0 && !slices.Contains(seconds, now) {
		seconds = slices.Sorted(slices.Values(append(seconds, now)))
	}
	q := questionForm{Field: key + ".pair", Label: words.PairQuestion, Chosen: strconv.Itoa(now),
		Choices: []answerChoice{{"0", words.PairNone}}}
	for _, s := range seconds {
		q.Choices = append(q.Choices, answerChoice{strconv.Itoa(s), words.PairWithin(s)})
	}
	return q
}

// questionOf words a doubt as a question.
func questionOf(key string, c *roof.Case, d words.FileDoubt) questionForm {
	q := questionForm{Field: key + "." + string(d.Kind), Label: words.Sentence(words.FileDoubtSentence(d))}
	for _, f := range d.Fits {
		q.Choices = append(q.Choices, answerChoice{f, words.FileAnswer(d.Kind, f)})
	}
	switch d.Kind {
	case words.DoubtZone, words.DoubtMissingHour:
		q.Field, q.Own = key+".zone", true
		q.Choices = zoneChoices(c)
	case words.DoubtFold:
		q.Choices = []answerChoice{{string(exports.First), words.FileAnswer(d.Kind, string(exports.First))},
			{string(exports.Second), words.FileAnswer(d.Kind, string(exports.Second))}}
	case words.DoubtLogger:
		q.Field, q.Own = key+".logger."+d.Cell, true
		q.Label, q.File, q.Always = words.WhichLogger(d.Cell), d.Cell, key+".always."+d.Cell
		q.Choices = nil
		for _, l := range c.Loggers {
			q.Choices = append(q.Choices, answerChoice{l.ID, l.ID})
		}
		q.Choices = append(q.Choices, answerChoice{"", words.OtherLogger})
	}
	return q
}

// zoneChoices are the zones that a logger of the house can have: the house's own
// and its offsets in winter and summer, for a clock that is never changed.
func zoneChoices(c *roof.Case) []answerChoice {
	zone := c.Property.Timezone
	out := []answerChoice{{zone, words.ZoneChanged(zone)}}
	seen := map[string]bool{}
	for _, month := range []time.Month{time.January, time.July} {
		offset := time.Date(2026, month, 15, 12, 0, 0, 0, c.Property.Zone).Format("-07:00")
		if !seen[offset] {
			seen[offset] = true
			out = append(out, answerChoice{offset, words.ZoneNever(offset)})
		}
	}
	return out
}

// again repeats the questions that were answered, so that an answer can be
// changed and goes with the form.
func (k *kindForm) again(c *roof.Case, form url.Values) {
	for _, d := range []words.FileDoubt{{Kind: words.DoubtDates, Fits: []string{"dmy", "mdy", "ymd"}},
		{Kind: words.DoubtTempUnit, Fits: []string{"C", "F", "K"}},
		{Kind: words.DoubtRHUnit, Fits: []string{"percent", "fraction"}}, {Kind: words.DoubtZone}, {Kind: words.DoubtFold}} {
		q := questionOf(k.Key, c, d)
		if value := form.Get(q.Field); value != "" || q.Own && form.Get(otherField(q.Field)) != "" {
			q.Label = words.FileMatter(d.Kind)
			k.question(q)
		}
	}
	for _, field := range slices.Sorted(maps.Keys(form)) {
		prefix := k.Key + ".logger."
		if len(field) > len(prefix) && field[:len(prefix)] == prefix {
			k.question(questionOf(k.Key, c, words.FileDoubt{Kind: words.DoubtLogger, Cell: field[len(prefix):]}))
		}
		prefix = k.Key + ".holds."
		if len(field) > len(prefix) && field[:len(prefix)] == prefix && len(k.Files) > 0 && k.Files[0].Plan != nil {
			k.columns(k.Files[0].Plan, form)
		}
	}
	for i, q := range k.Questions {
		k.Questions[i].Chosen, k.Questions[i].Written = cmp.Or(form.Get(q.Field), q.Chosen), form.Get(otherField(q.Field))
		k.Questions[i].AlwaysOn = q.Always != "" && form.Get(q.Always) != ""
	}
}

// columns asks what each column of the kind holds.
func (k *kindForm) columns(p *exports.Plan, form url.Values) {
	if len(k.Columns) > 0 {
		return
	}
	for i, c := range p.Columns {
		if c.Name == "" {
			continue
		}
		f := columnForm{Name: c.Name, Holds: c.Holds, Unit: c.Unit}
		if v := form.Get(k.Key + ".holds." + c.Name); v != "" {
			f.Holds, f.Unit = v, form.Get(k.Key+".unit_of."+c.Name)
			f.Logger = form.Get(k.Key + ".logger_of." + c.Name)
		}
		for _, row := range p.Sample {
			if i < len(row.Cells) && row.Cells[i] != "" && row.Cells[i] != c.Name {
				f.Example = row.Cells[i]
				break
			}
		}
		k.Columns = append(k.Columns, f)
	}
}

// otherField is the field for an answer that is none of the choices.
func otherField(field string) string {
	if key, name, found := strings.Cut(field, ".logger."); found {
		return key + ".logger_other." + name
	}
	return field + "_other"
}

// measuredCell is one quantity of a reading, to three decimals.
func measuredCell(r roof.Reading, quantity string) string {
	if q, ok := roof.ParseQuantity(quantity); ok {
		if x, ok := r.Values.Get(q); ok {
			return strconv.FormatFloat(math.Round(x*1000)/1000, 'f', -1, 64)
		}
	}
	return "–"
}

// furtherCell lists the further quantities of a reading.
func furtherCell(r roof.Reading) string {
	var out []string
	for q := roof.BatteryPct; int(q) < roof.QuantityCount; q++ {
		if r.Values.Has(q) {
			out = append(out, words.Key(q.String())+" "+measuredCell(r, q.String()))
		}
	}
	return strings.Join(out, ", ")
}
