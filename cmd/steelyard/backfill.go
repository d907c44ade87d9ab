package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/client"
	"example.com/steelyard/cmd/steelyard/internal/logcsv"
	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
)

// clientSettings is how to reach a server.
type clientSettings struct {
	Address      string         `help:"gRPC address of the server" default:"127.0.0.1:7401"`
	TLS          bool           `help:"use TLS; without it the key travels in the clear"`
	CA           string         `help:"PEM file of the authorities that the server's certificate may come from, in place of the system's; means TLS"`
	ClientCert   string         `help:"PEM file of a certificate to show to a server that asks for one; means TLS"`
	ClientKey    string         `help:"PEM file of the private key of client-cert"`
	Key          service.Secret `help:"API key, or a token of the server's identity provider; needs the scope log.write, and plan.write to create trainees"`
	Attempts     int            `help:"how often to try in a row without any progress" default:"8"`
	BatchTimeout time.Duration  `help:"longest time that one batch may take" default:"30s"`
	Streams      int            `help:"how many trainees to bring at once" default:"4"`
}

// maxStreams is far under what a server takes on one connection.
const maxStreams = 64

func (s clientSettings) validate() error {
	if s.Key == "" {
		return errors.New("there is no key: set STEELYARD_KEY, or STEELYARD_KEY_FILE to name a file that holds it")
	}
	if s.Attempts < 1 {
		return errors.New("--attempts: must be 1 or more")
	}
	if s.BatchTimeout <= 0 {
		return errors.New("--batch-timeout: must be more than 0")
	}
	if s.Streams < 1 {
		return errors.New("--streams: must be 1 or more")
	}
	if s.Streams > maxStreams {
		return fmt.Errorf("--streams: must be %d or less", maxStreams)
	}
	return nil
}

func newBackfill() *cobra.Command {
	var cs clientSettings
	set := settings.Of(&cs)
	cmd := &cobra.Command{
		Use:   "backfill FILE",
		Short: "Sends a log from CSV to a server",
		Long: `Sends a log from a CSV file, or from standard input when FILE is -, to a server.

Running the same command again continues where the last run stopped and never
sends anything twice; entries that are there already under the same day, kind and
key are replaced. The key comes from STEELYARD_KEY, or from the file that
STEELYARD_KEY_FILE names, never from a flag.

Several trainees are brought at once, --streams of them, begun in the order in
which the file first names them. When one of them fails the others end too.

Every row is checked before anything is sent, and again by the server. A row with
anything wrong in it is refused as a whole, told with its line, on standard error
or in the --report file; all other rows are sent. Told first are the rows that are
not sent, then those that the server refused, trainee by trainee in the same order,
as soon as the upload of a trainee and of all before it have ended. The exit code
is 0 when every row was taken, 1 when one was refused or something failed, 2 for a
mistake in the command.

The file is UTF-8 with a header row, any of these columns in any order, commas,
and a point for decimals. A row may hold several kinds of facts. An empty cell
means not logged, never 0.

` + logcsv.ColumnHelp() + `
` + caution,
		Example: "  STEELYARD_KEY_FILE=key.txt steelyard backfill --create-trainees log.csv\n" +
			"  zcat log.csv.gz | STEELYARD_KEY_FILE=key.txt steelyard backfill --trainee t-1 -",
		Args: arguments(cobra.ExactArgs(1)),
	}
	set.AddFlags(cmd.Flags())
	trainee := cmd.Flags().String("trainee", "", "trainee of rows that name none")
	create := cmd.Flags().Bool("create-trainees", false, "create trainees that are not there yet")
	report := cmd.Flags().String("report", "", "file for the refused rows, in place of standard error")
	cmd.RunE = func(cmd *cobra.Command, args []string) (err error) {
		if err := load(cmd, set); err != nil {
			return err
		}
		if err := cs.validate(); err != nil {
			return usageError{err}
		}
		conf, err := client.TLS{On: cs.TLS, CA: cs.CA, Cert: cs.ClientCert, Key: cs.ClientKey}.Config()
		if err != nil {
			return usageError{err}
		}
		log, err := readLog(cmd.InOrStdin(), args[0], *trainee)
		if err != nil {
			return err
		}
		var refused io.Writer
		if *report != "" {
			f, err := os.Create(*report)
			if err != nil {
				return fmt.Errorf("--report: %w", err)
			}
			defer func() { err = errors.Join(err, f.Close()) }()
			refused = f
		}
		conn, err := client.Dial(cs.Address, string(cs.Key), conf)
		if err != nil {
			return err
		}
		defer conn.Close()
		u := uploader{conn: conn, settings: cs, createTrainees: *create, report: refused, status: cmd.ErrOrStderr()}
		sum, err := u.run(cmd.Context(), log)
		_, printed := fmt.Fprintln(cmd.OutOrStdout(), sum)
		if err == nil && sum.refused() > 0 {
			err = fmt.Errorf("%d of %d rows were refused", sum.refused(), sum.rows)
		}
		return errors.Join(err, printed)
	}
	return cmd
}

// readLog reads a file, or standard input for "-".
func readLog(stdin io.Reader, name, trainee string) (*logcsv.Log, error) {
	in := stdin
	if name != "-" {
		f, err := os.Open(name) // #nosec G304 -- the caller names a file of its own
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	log, err := logcsv.Read(in, trainee)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return log, nil
}
