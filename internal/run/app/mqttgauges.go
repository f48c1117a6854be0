package app

import (
	"dewcase/internal/door/mqtt/broker"
	"dewcase/internal/door/mqtt/mqttfeed"
)

// brokerGauges shows the embedded broker on /metrics.
func (a *App) brokerGauges(b *broker.Broker) {
	of := func(read func(broker.Stats) int64) func() float64 {
		return func() float64 { return float64(read(b.Stats())) }
	}
	a.metrics.Gauge("dewcase_mqtt_clients", "Clients connected to the embedded broker.", nil,
		of(func(s broker.Stats) int64 { return s.Clients }))
	a.messageCounters(of(func(s broker.Stats) int64 { return s.Received }),
		of(func(s broker.Stats) int64 { return s.Accepted }),
		of(func(s broker.Stats) int64 { return s.NotDurable }), of(func(s broker.Stats) int64 { return s.TooLarge }))
	a.metrics.Counter("dewcase_mqtt_failed_logins_total", "Logins that the embedded broker refused.", nil,
		of(func(s broker.Stats) int64 { return s.FailedLogins }))
	a.metrics.Gauge("dewcase_mqtt_waiting_bytes", "Bytes that wait for subscribers of the embedded broker.", nil,
		of(func(s broker.Stats) int64 { return s.Waiting }))
	a.metrics.Counter("dewcase_mqtt_missed_total", "Messages that a subscriber of the embedded broker did not get; it "+
		"read too slowly or was away.", nil, of(func(s broker.Stats) int64 { return s.Missed }))
	a.metrics.Counter("dewcase_mqtt_subscribers_cut_total", "Subscribers of the embedded broker that were cut, or "+
		"forgotten while away, because too much waited for them.", nil, of(func(s broker.Stats) int64 { return s.Cut }))
}

// feedGauges shows the outside broker on /metrics.
func (a *App) feedGauges(f *mqttfeed.Feed) {
	of := func(read func(mqttfeed.Status) int64) func() float64 {
		return func() float64 { return float64(read(f.Status())) }
	}
	a.metrics.Gauge("dewcase_mqtt_connected", "1 while the outside broker is connected and its subscriptions stand.", nil,
		of(func(s mqttfeed.Status) int64 {
			if s.Connected && len(s.Refused) == 0 {
				return 1
			}
			return 0
		}))
	a.metrics.Counter("dewcase_mqtt_connections_total", "Connections made to the outside broker.", nil,
		of(func(s mqttfeed.Status) int64 { return s.Connections }))
	a.messageCounters(of(func(s mqttfeed.Status) int64 { return s.Received }),
		of(func(s mqttfeed.Status) int64 { return s.Accepted }),
		of(func(s mqttfeed.Status) int64 { return s.NotDurable }), of(func(s mqttfeed.Status) int64 { return s.TooLarge }))
	a.metrics.Counter("dewcase_mqtt_lost_qos0_total", "Messages of quality of service 0 dropped because the store did "+
		"not keep up.", nil, of(func(s mqttfeed.Status) int64 { return s.LostQoS0 }))
	a.metrics.Gauge("dewcase_mqtt_unacknowledged", "Messages taken from the outside broker and not yet durable.", nil,
		of(func(s mqttfeed.Status) int64 { return s.Unacked }))
}

func (a *App) messageCounters(received, accepted, notDurable, tooLarge func() float64) {
	a.metrics.Counter("dewcase_mqtt_messages_total", "MQTT messages that arrived, repeats included.", nil, received)
	a.metrics.Counter("dewcase_mqtt_acknowledged_total", "MQTT messages that are durable or rejected for good.", nil,
		accepted)
	a.metrics.Counter("dewcase_mqtt_not_durable_total",
		"Attempts to store an MQTT message that failed; none was acknowledged.", nil, notDurable)
	a.metrics.Counter("dewcase_mqtt_too_large_total", "MQTT messages over the size limit, discarded unread.", nil,
		tooLarge)
}
