package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
)

func newRestored() *cobra.Command {
	var cfg service.Config
	set := settings.Of(&cfg)
	cmd := &cobra.Command{
		Use:   "restored",
		Short: "Has to be run after a backup was put back, before serving",
		Long: `Has to be run once after a backup was put back in the place of the data, before
anything serves it. It changes no data: it marks every trainee's as another life
of it, so that no window which Redis still holds of the lost time is taken for a
present one.

With PostgreSQL it needs STEELYARD_STORE_OWNER_URL.`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := loadConfig(cmd, set, &cfg); err != nil {
				return err
			}
			n, err := service.Restored(cmd.Context(), cfg)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s marked\n", count(n, "trainee"))
			return err
		},
	}
	set.AddFlags(cmd.Flags(), "data-dir")
	return cmd
}
