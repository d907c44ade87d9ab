package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	steelyardv1 "example.com/steelyard/api/steelyard/v1"
	"example.com/steelyard/cmd/steelyard/internal/demo"
	"example.com/steelyard/testdata"
)

func newDemo() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Plays an invented scenario against a server of its own",
		Long: `Starts a server on free loopback ports with a folder of its own, sends it the logs
of invented trainees through the API, asks for a recommendation at each review of
their plans, and decides as recommended. The first trainee goes the whole way, from
the maintenance test to the end of the plan; the others show a scene each. Then it
shows requests to try and serves until Ctrl-C. Nothing is kept, and no network is needed.

` + caution,
		Args: arguments(cobra.NoArgs),
	}
	once := cmd.Flags().Bool("once", false, "end after printing, without serving on")
	asJSON := cmd.Flags().Bool("json", false, "print the recommendations as one JSON object and nothing else")
	cmd.RunE = func(cmd *cobra.Command, _ []string) (err error) {
		ctx, out, messages := cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr()
		scenarios, err := demo.Load(testdata.Demo())
		if err != nil {
			return err
		}
		server, err := demo.Start(ctx, newLog(messages, "warn"))
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, server.Stop()) }()
		if *asJSON {
			err = playJSON(ctx, server, scenarios, out)
		} else {
			err = playText(ctx, server, scenarios, out)
			messages = out // the requests are part of what was asked for
		}
		if ctx.Err() != nil {
			return errors.New("interrupted")
		}
		if err != nil || *once {
			return err
		}
		if err := showRequests(messages, server, scenarios); err != nil {
			return err
		}
		<-ctx.Done()
		return nil
	}
	return cmd
}

// viewer is told what a play comes to.
type viewer struct {
	begin func(demo.Scenario) error
	visit func(demo.Visit) error
	end   func(demo.Scenario, *steelyardv1.Timeline) error
}

// play plays the scenarios one after the other.
func play(ctx context.Context, server *demo.Server, scenarios []demo.Scenario, see viewer) error {
	p := demo.NewPlayer(server.Conn)
	for _, sc := range scenarios {
		if err := see.begin(sc); err != nil {
			return err
		}
		tl, err := playOne(ctx, p, sc, see.visit)
		if err != nil {
			return fmt.Errorf("%s: %w", sc.TraineeID, err)
		}
		if err := see.end(sc, tl); err != nil {
			return err
		}
	}
	return nil
}

func playOne(ctx context.Context, p demo.Player, sc demo.Scenario, see func(demo.Visit) error) (*steelyardv1.Timeline, error) {
	if err := p.Enter(ctx, sc); err != nil {
		return nil, err
	}
	if err := p.Backfill(ctx, sc); err != nil {
		return nil, err
	}
	if err := p.Walk(ctx, sc, nil, see); err != nil {
		return nil, err
	}
	return p.Timeline(ctx, sc)
}

func playText(ctx context.Context, server *demo.Server, scenarios []demo.Scenario, out io.Writer) error {
	if _, err := fmt.Fprintln(out, "Invented trainees, and what Steelyard recommends at each review of their plans.\n"+caution); err != nil {
		return err
	}
	text := demo.NewText(out)
	return play(ctx, server, scenarios, viewer{text.Scenario, text.Visit, text.Ending})
}

func playJSON(ctx context.Context, server *demo.Server, scenarios []demo.Scenario, out io.Writer) error {
	report := demo.Report{Recommendations: []demo.Line{}, Summaries: []demo.Summary{}}
	err := play(ctx, server, scenarios, viewer{
		begin: func(demo.Scenario) error { return nil },
		visit: func(v demo.Visit) error {
			report.Recommendations = append(report.Recommendations, demo.LineOf(v))
			return nil
		},
		end: func(sc demo.Scenario, tl *steelyardv1.Timeline) error {
			if s, ok := demo.SummaryOf(sc, tl); ok {
				report.Summaries = append(report.Summaries, s)
			}
			return nil
		},
	})
	if err != nil {
		return err
	}
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(report)
}

func showRequests(out io.Writer, server *demo.Server, scenarios []demo.Scenario) error {
	whole, sc := scenarios[0], scenarios[1] // the first has come to its end, the second is on its way
	_, err := fmt.Fprintf(out, "\nThe server is up, gRPC on %s and JSON on %s, until Ctrl-C. To try in another shell:\n\nKEY=%s\n",
		server.GRPCAddress, server.HTTPAddress, server.Key)
	for _, r := range demo.Requests(whole, sc) {
		_, e := fmt.Fprintf(out, "\n# %s\n%s\n", r.About, r.Command(server.HTTPAddress))
		err = errors.Join(err, e)
	}
	_, e := fmt.Fprintf(out, "\n# The first one over gRPC; the server answers reflection\n%s\n", demo.GRPCCommand(sc, server.GRPCAddress))
	return errors.Join(err, e)
}
