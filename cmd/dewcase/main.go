// Command dewcase shows why a roof sweats and whether the repair cured it. See
// README.md.
package main

import (
	"context"
	"os"

	"dewcase/internal/run/commands"
)

func main() {
	ctx, stop := commands.UntilSignal(context.Background())
	code := commands.Run(ctx, os.Args[1:], commands.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr})
	stop()
	os.Exit(code)
}
