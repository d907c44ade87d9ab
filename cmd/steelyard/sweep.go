package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
)

func newSweep() *cobra.Command {
	var cfg service.Config
	set := settings.Of(&cfg)
	cmd := &cobra.Command{
		Use:   "sweep",
		Short: "Removes what is kept no longer, once",
		Long: `Removes what is kept no longer: trainees that nothing was written of for longer
than their tenant has set, request ids after two days, and the audit trail after
--audit-days. A running server does the same every hour; this is for where none
runs, and for whoever wants it done now.`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := loadConfig(cmd, set, &cfg); err != nil {
				return err
			}
			k, err := service.OpenKeyring(cmd.Context(), cfg)
			if err != nil {
				return err
			}
			swept, err := k.Sweep(cmd.Context(), cfg)
			fmt.Fprintf(cmd.OutOrStdout(), "erased %d trainees, removed %d request ids and %d audit records\n",
				len(swept.Erased), swept.RequestIDs, swept.Audit)
			if swept.More && err == nil {
				err = errors.New("there is more: run it again")
			}
			return errors.Join(err, k.Close())
		},
	}
	set.AddFlags(cmd.Flags(), "data-dir", "audit-days")
	return cmd
}
