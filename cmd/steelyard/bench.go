package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/cohort"
)

func newBench() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "bench",
		Short: "Tries the engine on invented people whose truth is known",
	}
	group(cmd, newBenchDecisions())
	return cmd
}

func newBenchDecisions() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "decisions",
		Short: "Compares the engine's estimates with the truth, and its decisions with a coach's by hand",
		Long: `Lets invented people live through a maintenance test of 10 days and a cut of 130,
and compares with their true state what the engine says and does. Their bodies
follow the published dynamic model of body weight; their appetite, their logs and
their scales are messy. The estimator never saw them.

Each person lives three times with the same luck: under a fixed schedule (the open
loop), with each of the engine's recommendations followed, and with the hand method:
the least-squares line through the last seven readings, three days of water left out
after a change; under 0.5 % a week 5-10 % less food, never more. And each does so
in two worlds: a steady one, and one where true maintenance wanders and a part of
the cut is eaten again as old habits return.

Cohorts: general; easy, people who log nearly all and hold little water; hard, a poor
guess of maintenance, much unlogged, much water.

The true rate is the loss of tissue in % of body weight a week under the present
ordinary-day prescription, at the present fat, lean tissue, adaptation and habits.
  rate error             root mean square on days 20, 27, 34 and 60
  maintenance error      the same, in logged kcal a day
  in the interval        share of true rates in the 80 % and 95 % intervals, those
                         mornings together
  days with a rate of 0.5-1 %   of the days after day 20, the first review of the cut
  false changes          with the true rate in 0.5-1 %, or moving away from it
  cuts while losing over 1 %    less food or more activity at a true rate over 1 %
  material misses        reviews that hold at a true rate under 0.4 or over 1.1 %, with
                         room for a change
  put off                such reviews that ask for more data, or to meet the target
  changes                less or more food or activity at a review; the opening cut and
                         the base activity of day 27 are left out
  median day to 8 % lost        of the weight at the start, water included
  days under the floor   with an intake prescribed that was under the floor when it was
                         set; has to be 0
  people referred        get no further advice and go on as before
Who comes under 6 % of fat (women 14) leaves the cut; only the days before count.

The output depends on the options alone, not on the machine's processors. What holds
for invented people need not hold for real ones.

` + caution,
		Example: "  steelyard bench decisions --people 500 --seed 12\n  steelyard bench decisions --cohort hard --json",
		Args:    arguments(cobra.NoArgs),
	}
	o := cohort.Options{}
	var kind string
	var asJSON bool
	cmd.Flags().IntVar(&o.People, "people", 2000, "people of each cohort")
	cmd.Flags().Uint64Var(&o.Seed, "seed", 1, "of all chance")
	cmd.Flags().StringVar(&kind, "cohort", "all", "general, easy, hard or all")
	cmd.Flags().BoolVar(&asJSON, "json", false, "write JSON instead of a table")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if o.People < 1 || o.People > cohort.MaxPeople {
			return usageError{fmt.Errorf("--people: must be between 1 and %d", cohort.MaxPeople)}
		}
		var err error
		if o.Kinds, err = cohort.ParseKinds(kind); err != nil {
			return usageError{fmt.Errorf("--cohort: %w", err)}
		}
		report, err := benchDecisions(cmd, o)
		switch {
		case cmd.Context().Err() != nil:
			return errors.New("interrupted")
		case err != nil:
			return err
		case !asJSON:
			return report.WriteText(cmd.OutOrStdout())
		}
		enc := json.NewEncoder(cmd.OutOrStdout())
		enc.SetIndent("", "  ")
		return enc.Encode(report)
	}
	return cmd
}

// benchDecisions runs the study with a progress bar.
func benchDecisions(cmd *cobra.Command, o cohort.Options) (cohort.Report, error) {
	bars := newBars(cmd.ErrOrStderr())
	defer bars.finish()
	return cohort.Study(cmd.Context(), o, bars.count(int64(o.People*len(o.Kinds)), "%d of %d people"))
}
