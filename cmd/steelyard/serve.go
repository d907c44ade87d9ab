package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
)

func newServe() *cobra.Command {
	var cfg service.Config
	set := settings.Of(&cfg)
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serves gRPC and JSON until it is told to stop",
		Long: `Serves gRPC and JSON until SIGTERM or SIGINT, then finishes what is in flight and
stops. Without any setting it serves on loopback, with a SQLite file in
./steelyard-data.

Each flag can also be set by the variable in brackets; a flag wins. Secrets are
variables only: STEELYARD_KEY_PEPPER, or STEELYARD_KEY_PEPPER_FILE to name a file
that holds it. The settings in force are logged once, secrets hidden.

An address that others may reach needs --tls-cert and --tls-key, or
--insecure-listen behind a proxy that ends TLS.

` + caution,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := loadConfig(cmd, set, &cfg); err != nil {
				return err
			}
			log := newLog(cmd.ErrOrStderr(), cfg.LogLevel)
			log.LogAttrs(cmd.Context(), slog.LevelInfo, "configuration", set.Attrs()...)
			return serve(cmd.Context(), cfg, log)
		},
	}
	set.AddFlags(cmd.Flags())
	return cmd
}

func serve(ctx context.Context, cfg service.Config, log *slog.Logger) error {
	first := isFirstStart(cfg)
	app, err := service.New(ctx, cfg, service.WithLog(log))
	if err != nil {
		return err
	}
	log.Info("listening", "grpc", app.GRPCAddress(), "http", app.HTTPAddress(), "admin", app.AdminAddress())
	if first {
		log.Info("this is a first start: there is no key yet, and nothing can be called without one", "make_one", keyCommandLine(cfg))
	}
	if err = errors.Join(app.Run(ctx), app.Close()); err == nil {
		log.Info("stopped")
	}
	return err
}

// isFirstStart reports whether nothing was ever kept here, so that there cannot
// be a key either.
func isFirstStart(cfg service.Config) bool {
	files, err := os.ReadDir(cfg.DataDir)
	return errors.Is(err, fs.ErrNotExist) || err == nil && len(files) == 0
}

// keyCommandLine is how to make a key on the store of cfg, where the same
// variables name the store: its URL may hold a password.
func keyCommandLine(cfg service.Config) string {
	return "steelyard keys create --data-dir " + cfg.DataDir
}

// newLog writes JSON lines. The level was validated with the configuration.
func newLog(w io.Writer, level string) *slog.Logger {
	var l slog.Level
	_ = l.UnmarshalText([]byte(level))
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{Level: l}))
}
