package commands

import (
	"context"
	"fmt"

	"dewcase/internal/run/doctor"
)

// examine names what is wrong with an installation, each fault on a line.
func examine(ctx context.Context, args []string, s Streams) error {
	f := flags("doctor", "[-config FILE] [-data DIR] [-http HOST:PORT] [-mqtt-listen HOST:PORT] [-broker URL]", s)
	d := addDaemonFlags(f)
	if err := parse(f, args); err != nil {
		return err
	}
	c, err := d.config()
	if err != nil {
		return err
	}
	faults := doctor.Examine(ctx, *d.file, c, "/")
	for _, x := range faults {
		fmt.Fprintln(s.Err, x)
	}
	if len(faults) > 0 {
		return errShown
	}
	fmt.Fprintf(s.Out, "nothing is wrong with the installation whose data folder is %s\n", c.Data)
	return nil
}
