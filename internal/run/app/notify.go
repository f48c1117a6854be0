package app

import (
	"net"
	"os"
)

// tellSystemd sends one state of the service notification protocol (systemd's
// sd_notify(3)); outside systemd it does nothing.
func tellSystemd(state string) {
	socket := os.Getenv("NOTIFY_SOCKET")
	if socket == "" {
		return
	}
	if socket[0] == '@' { // abstract
		socket = "\x00" + socket[1:]
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		return
	}
	defer c.Close()
	_, _ = c.Write([]byte(state))
}
