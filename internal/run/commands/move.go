package commands

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

// moveHouse moves a house from one running instance to another. It can be broken
// off anywhere and called again.
func moveHouse(ctx context.Context, args []string, s Streams) error {
	f := flags("move", "-case CASE -from URL -to URL [-from-token-file FILE] [-to-token-file FILE] "+
		"[-wait DURATION] [-blind]", s)
	id := f.String("case", "", "the house")
	from := f.String("from", "", "address of the instance that keeps it")
	to := f.String("to", "", "address of the instance that is to keep it")
	fromToken := f.String("from-token-file", "", "administrator's token of the first; else DEWCASE_TOKEN")
	toToken := f.String("to-token-file", "", "administrator's token of the second; else DEWCASE_TOKEN")
	wait := f.Duration("wait", time.Hour, "how long to wait until the second hears the house's loggers")
	blind := f.Bool("blind", false, "move it though no logger was heard by the second, as of a house that is silent")
	if err := parse(f, args, "case", "from", "to"); err != nil {
		return err
	}
	if !roof.ValidCaseID(*id) {
		return usageError{fmt.Sprintf("-case %q is no id of a case", *id)}
	}
	giver, err := instanceAt(*from, *fromToken, *id)
	if err != nil {
		return err
	}
	receiver, err := instanceAt(*to, *toToken, *id)
	if err != nil {
		return err
	}
	return move{giver, receiver, *wait, *blind, s}.run(ctx)
}

type move struct {
	giver, receiver instance
	wait            time.Duration
	blind           bool
	Streams
}

func (m move) run(ctx context.Context) error {
	there, err := m.giver.where(ctx)
	if err != nil {
		return err
	}
	here, err := m.receiver.where(ctx)
	if err != nil {
		return err
	}
	kept := m.receiver.url
	if here.URL != "" {
		kept = strings.TrimRight(here.URL, "/")
	}
	switch {
	case there.State == api.HouseAway && here.State == api.HouseHere:
		fmt.Fprintf(m.Out, "house %s is at %s already\n", m.giver.house, kept)
		return nil
	case here.State == api.HouseHere:
		return fmt.Errorf("%s keeps a house %s already", m.receiver.url, m.giver.house)
	case there.State == api.HouseAway && there.To != kept:
		return fmt.Errorf("house %s was let go to %s", m.giver.house, there.To)
	case there.State == api.HouseAway:
	case there.State != api.HouseHere:
		return fmt.Errorf("%s keeps no house %s (it is %s there)", m.giver.url, m.giver.house, there.State)
	default:
		if err := m.overlap(ctx, here.State == api.HouseArriving); err != nil {
			return err
		}
		if err := m.giver.letGo(ctx, kept); err != nil {
			return err
		}
	}
	got, err := m.carry(ctx)
	if err != nil {
		return fmt.Errorf("%w\nthe house is with neither instance now, its readings are taken by the second: call the "+
			"command again", err)
	}
	if !got.Whole {
		return errors.New("what the first instance gave is a copy only; call the command again")
	}
	fmt.Fprintf(m.Out, "house %s is kept at %s now: %d more readings, %d that were there already, %d versions of its "+
		"case file, %d imported files\n", m.giver.house, kept, got.Stored, got.Duplicates, got.Versions, got.Files)
	return nil
}

// overlap has the receiver take the house up, and waits until it hears its loggers.
func (m move) overlap(ctx context.Context, arriving bool) error {
	if !arriving {
		got, err := m.carry(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(m.Err, "taken up with %d readings; waiting until the loggers are heard there\n", got.Stored)
	}
	until := time.Now().Add(m.wait)
	for {
		w, err := m.receiver.where(ctx)
		if err != nil {
			return err
		}
		switch {
		case w.State != api.HouseArriving:
			return fmt.Errorf("the house is %s at %s, and was to be on its way there", w.State, m.receiver.url)
		case w.Heard > 0 || m.blind:
			return nil
		case time.Now().After(until):
			return fmt.Errorf("%s has heard no reading of house %s in %s, so the first instance keeps it: is it connected to "+
				"the broker (%s/readyz), and do its topics cover the loggers'? Call the command again, with -blind if the loggers "+
				"are silent", m.receiver.url, m.giver.house, m.wait, m.receiver.url)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Second):
		}
	}
}

// carry takes the packed house over.
func (m move) carry(ctx context.Context) (got api.Taken, err error) {
	packed, err := m.giver.ask(ctx, http.MethodGet, "house.zip", "", nil)
	if err != nil {
		return got, err
	}
	defer packed.Close()
	// Kept first: only a whole file is begun with.
	f, err := os.CreateTemp("", "dewcase-move-*")
	if err != nil {
		return got, fmt.Errorf("keeping the packed house: %w", err)
	}
	_ = os.Remove(f.Name())
	defer f.Close()
	if _, err = io.Copy(f, packed); err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		return got, fmt.Errorf("fetching the house from %s: %w", m.giver.url, err)
	}
	answer, err := m.receiver.ask(ctx, http.MethodPut, "house.zip", "application/zip", f)
	if err != nil {
		return got, err
	}
	defer answer.Close()
	return got, json.NewDecoder(answer).Decode(&got)
}

// instance is a running instance, asked about one house.
type instance struct{ url, token, house string }

func instanceAt(address, tokenFile, house string) (instance, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil {
		return instance{}, usageError{fmt.Sprintf("%q must be an address such as https://south.example.org", address)}
	}
	token, err := config.Secret(tokenFile, "DEWCASE_TOKEN")
	if err != nil {
		return instance{}, fmt.Errorf("the token for %s: %w", address, err)
	}
	return instance{u.Scheme + "://" + u.Host, token, house}, nil
}

func (i instance) ask(ctx context.Context, method, what, kind string, body io.Reader) (io.ReadCloser, error) {
	r, err := http.NewRequestWithContext(ctx, method, i.url+"/api/cases/"+i.house+"/"+what, body)
	if err != nil {
		return nil, err
	}
	if i.token != "" {
		r.Header.Set("Authorization", "Bearer "+i.token)
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	if resp.StatusCode == http.StatusOK {
		return resp.Body, nil
	}
	defer resp.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(resp.Body, 8<<10))
	var p struct{ Detail string }
	if json.Unmarshal(said, &p) != nil || p.Detail == "" {
		p.Detail = strings.TrimSpace(string(said))
	}
	return nil, fmt.Errorf("%s answered %s: %s", i.url, resp.Status, p.Detail)
}

func (i instance) where(ctx context.Context) (w api.Whereabouts, err error) {
	body, err := i.ask(ctx, http.MethodGet, "move", "", nil)
	if err != nil {
		return w, err
	}
	defer body.Close()
	return w, json.NewDecoder(body).Decode(&w)
}

func (i instance) letGo(ctx context.Context, to string) error {
	said, err := json.Marshal(map[string]string{"to": to})
	if err != nil {
		return err
	}
	body, err := i.ask(ctx, http.MethodPost, "move", "application/json", bytes.NewReader(said))
	if err != nil {
		return err
	}
	return body.Close()
}
