package commands

import (
	"context"
	"errors"
)

func demo(context.Context, []string, Streams) error {
	return errors.New("the demo is not built yet")
}
