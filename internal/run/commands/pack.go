package commands

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"dewcase/internal/door/parcel"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
)

// pack writes the evidence of one house into a sealed file.
func pack(ctx context.Context, args []string, s Streams) error {
	f := flags("pack", "-case CASE -to FILE.zip [-data DIR]", s)
	id := f.String("case", "", "id of the case")
	to := f.String("to", "", "file to write; one of that name is replaced once the pack is whole")
	data := f.String("data", config.Default().Data, "data folder, also of a running daemon")
	if err := parse(f, args, "case", "to"); err != nil {
		return err
	}
	if !roof.ValidCaseID(*id) {
		return usageError{fmt.Sprintf("-case %q is no id of a case, such as larkfield-9", *id)}
	}
	var seal parcel.Seal
	if err := replaceFile(*to, 0o600, func(out io.Writer) (err error) {
		seal, err = app.PackHouse(ctx, *data, *id, Version, out)
		return err
	}); err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "%s: case %s with its assessment, %d files\nhead of its chain: %s\n", *to, *id, len(seal.Files),
		seal.Head)
	return nil
}

// verify compares a packed house with its seal and its figures with its readings.
func verify(ctx context.Context, args []string, s Streams) error {
	f := flags("verify", "FILE.zip", s)
	if err := f.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return err
		}
		return usageError{} // the flag package has said it
	}
	if f.NArg() != 1 {
		return usageError{"verify needs one FILE.zip, as `dewcase pack` writes it"}
	}
	in, err := os.Open(f.Arg(0))
	if err != nil {
		return err
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return err
	}
	seal, faults, err := app.VerifyPack(ctx, in, info.Size())
	if err != nil {
		return fmt.Errorf("%s: %w", f.Arg(0), err)
	}
	for i, fault := range faults {
		if i == roof.FaultLines {
			fmt.Fprintf(s.Err, "and %d more (%d in all)\n", len(faults)-i, len(faults))
			break
		}
		fmt.Fprintf(s.Err, "%s: %s\n", f.Arg(0), fault)
	}
	if len(faults) > 0 {
		return fmt.Errorf("the pack does not agree: %w", errShown)
	}
	fmt.Fprintf(s.Out, "%s: every byte agrees with its seal, and every figure of its assessment with its readings\n"+
		"head of its chain: %s\n", f.Arg(0), seal.Head)
	return nil
}
