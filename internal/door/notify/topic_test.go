package notify

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/mosquittotest"
)

func TestTheStateTopicIsRetainedAndSaidWhenItChanges(t *testing.T) {
	broker := mosquittotest.Start(t, mosquittotest.Quick)
	client := func(name string) paho.Client {
		c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker.Addr()).SetClientID(name))
		token := c.Connect()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
		t.Cleanup(func() { c.Disconnect(10) })
		return c
	}
	ours := client("dewcase")
	said, down := 0, false
	topic := NewTopic(func(name string, payload []byte, retained bool) error {
		if down {
			return errors.New("no connection")
		}
		said++
		token := ours.Publish(name, 1, retained, payload)
		if !token.WaitTimeout(10 * time.Second) {
			return errors.New("no answer")
		}
		return token.Error()
	})
	at := time.Date(2026, 12, 1, 3, 0, 0, 0, time.UTC)
	book := &alert.Book{}
	step := func(wet float64) {
		alert.Step(book, []alert.Sign{{Condition: alert.SurfaceWet, Position: "slate", Value: wet, Known: true, At: at}},
			alert.RulesOf(roof.AlertSettings{}), at)
		at = at.Add(time.Hour)
	}
	step(1)
	require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Water forms under the slates.", book, nil, at), at))
	step(2)
	require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Water forms under the slates.", book, nil, at),
		at.Add(-time.Hour)))
	assert.Equal(t, 1, said, "nothing new, nothing said")

	heard := make(chan paho.Message, 4)
	require.NoError(t, wait(client("home").Subscribe("dewcase-state/#",
		1, func(_ paho.Client, m paho.Message) { heard <- m })))
	m := <-heard
	assert.Equal(t, "dewcase-state/larkfield-9", m.Topic())
	assert.True(t, m.Retained())
	var s CaseState
	require.NoError(t, json.Unmarshal(m.Payload(), &s))
	require.NotNil(t, s.Wet)
	assert.True(t, *s.Wet)
	require.Len(t, s.Alerts, 1)

	step(0)
	step(0)
	step(0)
	down = true
	require.Error(t, topic.Say(t.Context(), StateOf("larkfield-9", "Your roof is dry now.", book, nil, at), at))
	down = false
	require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Your roof is dry now.", book, nil, at), at),
		"tried again")
	m = <-heard
	require.NoError(t, json.Unmarshal(m.Payload(), &s))
	require.NotNil(t, s.Wet)
	assert.False(t, *s.Wet)
	assert.Nil(t, StateOf("larkfield-9", "", book, nil, at.Add(7*time.Hour)).Wet, "a gap is not dry")
	assert.Nil(t, StateOf("larkfield-9", "", &alert.Book{}, nil, at).Wet)

	broker.Restart() // and it kept nothing on disk
	ours = client("dewcase-2")
	before := said
	require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Your roof is dry now.", book, nil, at), at))
	assert.Equal(t, before, said)
	require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Your roof is dry now.", book, nil, at),
		at.Add(sayAgain)))
	assert.Equal(t, before+1, said, "a broker that forgot is told again")
}

func TestAChanceThatHardlyMovesIsNoNews(t *testing.T) {
	said := 0
	topic := NewTopic(func(string, []byte, bool) error { said++; return nil })
	at := time.Date(2026, 12, 1, 18, 0, 0, 0, time.UTC)
	for _, p := range []float64{0.6412, 0.6388, 0.6401} {
		require.NoError(t, topic.Say(t.Context(), StateOf("larkfield-9", "Your roof is dry now.", &alert.Book{}, &p, at), at))
	}
	assert.Equal(t, 1, said)
}

func wait(t paho.Token) error {
	if !t.WaitTimeout(10 * time.Second) {
		return errors.New("no answer")
	}
	return t.Error()
}
