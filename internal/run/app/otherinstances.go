package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/houses"
	"dewcase/internal/run/config"
)

// Other instances are asked for their counts when somebody looks, and not again
// within a while, whether they answered or not; nobody waits longer for them.
const (
	askedAgain = 30 * time.Second
	answerBy   = 3 * time.Second
	maxCounts  = 1 << 20 // bytes
)

// otherInstances are those that the configuration names. It is safe for concurrent
// use.
type otherInstances struct {
	all    []*otherInstance
	client *http.Client
	now    func() time.Time
}

// otherInstance is one of them, with what it answered last.
type otherInstance struct {
	config.Instance
	token string
	mu    sync.Mutex
	asked time.Time
	last  *houses.Figures
	fault string
}

func newOtherInstances(c config.Config, now func() time.Time) (*otherInstances, error) {
	o := &otherInstances{now: now, client: &http.Client{Timeout: answerBy,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	for _, x := range c.Others {
		token, err := config.Secret(x.TokenFile, "")
		if err != nil {
			return nil, fmt.Errorf("the token for instance %s: %w", x.Name, err)
		}
		o.all = append(o.all, &otherInstance{Instance: x, token: token})
	}
	return o, nil
}

// figures are what each counted last.
func (o *otherInstances) figures(ctx context.Context) []houses.Instance {
	out := make([]houses.Instance, len(o.all))
	var asking sync.WaitGroup
	for i, x := range o.all {
		asking.Go(func() { out[i] = o.of(context.WithoutCancel(ctx), x) })
	}
	asking.Wait()
	return out
}

func (o *otherInstances) of(ctx context.Context, x *otherInstance) houses.Instance {
	x.mu.Lock()
	defer x.mu.Unlock()
	if age := o.now().Sub(x.asked); x.asked.IsZero() || age < 0 || age > askedAgain {
		f, err := o.ask(ctx, x)
		if x.asked, x.fault = o.now(), ""; err != nil {
			x.fault = err.Error()
		} else {
			x.last = &f
		}
	}
	return houses.Instance{Name: x.Name, URL: x.URL, Figures: x.last, Failed: x.fault}
}

func (o *otherInstances) ask(ctx context.Context, x *otherInstance) (f houses.Figures, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimRight(x.URL, "/")+api.CountsPath, nil)
	if err != nil {
		return f, err
	}
	if x.token != "" {
		r.Header.Set("Authorization", "Bearer "+x.token)
	}
	resp, err := o.client.Do(r)
	var of *url.Error
	if errors.As(err, &of) {
		err = of.Err // its address is beside it already
	}
	if err != nil {
		return f, err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return f, fmt.Errorf("it answered %s", resp.Status)
	}
	if err := json.NewDecoder(io.LimitReader(resp.Body, maxCounts)).Decode(&f); err != nil || f.At.IsZero() {
		return f, errors.New("what it answered are no counts of houses")
	}
	return f, nil
}
