package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
	"example.com/steelyard/service/access"
	"example.com/steelyard/service/store"
)

// defaultTenant is the tenant of an installation that has only one.
const defaultTenant = "default"

// defaultScopes are all but those that take data out or destroy it.
func defaultScopes() []string {
	var out []string
	for _, s := range access.ScopeNames() {
		if s != "export" && s != "erase" {
			out = append(out, s)
		}
	}
	return out
}

func newKeys() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "keys",
		Short: "Makes, lists and revokes API keys",
		Long: `Makes, lists and revokes API keys. It works on the store itself, beside a running
server or without one. A running server may go on taking a revoked key for up to
two seconds.

A key belongs to a tenant and sees that tenant's trainees only. It is shown once,
when it is made; only a hash of it is kept.`,
	}
	group(cmd, newKeysCreate(), newKeysList(), newKeysRevoke())
	return cmd
}

// keyCommand adds what the three have in common: the store, and the tenant.
func keyCommand(cmd *cobra.Command, do func(ctx context.Context, k *service.Keyring, tenant string, args []string) error) *cobra.Command {
	var cfg service.Config
	set := settings.Of(&cfg)
	set.AddFlags(cmd.Flags(), "data-dir")
	tenant := cmd.Flags().String("tenant", defaultTenant, "the organisation that the key belongs to")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := loadConfig(cmd, set, &cfg); err != nil {
			return err
		}
		k, err := service.OpenKeyring(cmd.Context(), cfg)
		if err != nil {
			return err
		}
		return errors.Join(do(cmd.Context(), k, *tenant, args), k.Close())
	}
	return cmd
}

func newKeysCreate() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "create",
		Short: "Makes a key and prints it, this once",
		Long: `Makes a key and prints it to standard output, this once.

Scopes: ` + strings.Join(access.ScopeNames(), ", ") + `.
A front-desk scale needs log.write and nothing else.`,
		Args: arguments(cobra.NoArgs),
	}
	name := cmd.Flags().String("name", "", "a label for people")
	scopes := cmd.Flags().StringSlice("scope", defaultScopes(), "what the key may do; several with commas")
	expires := cmd.Flags().String("expires", "", "last day that the key works, such as 2027-12-31 (UTC); never ends when empty")
	end, until := time.Time{}, "never expires"
	cmd.PreRunE = func(*cobra.Command, []string) error { // before a store is made for nothing
		for _, s := range *scopes {
			if _, ok := access.ParseScope(s); !ok {
				return usageError{fmt.Errorf("--scope: %q is not one of %s", s, strings.Join(access.ScopeNames(), ", "))}
			}
		}
		if *expires != "" {
			day, err := time.Parse(time.DateOnly, *expires)
			if err != nil {
				return usageError{fmt.Errorf("--expires: %q is not a day of the form 2027-12-31", *expires)}
			}
			end, until = day.AddDate(0, 0, 1), "works until the end of "+*expires+" UTC"
		}
		return nil
	}
	return keyCommand(cmd, func(ctx context.Context, k *service.Keyring, tenant string, _ []string) error {
		token, key, err := k.Issue(ctx, tenant, *name, *scopes, end)
		if err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "key %s of tenant %s may %s and %s. Keep it now: it is not shown again.\n",
			key.ID, key.Tenant, strings.Join(key.Scopes, ", "), until)
		_, err = fmt.Fprintln(cmd.OutOrStdout(), token)
		return err
	})
}

func newKeysList() *cobra.Command {
	cmd := &cobra.Command{Use: "list", Short: "Lists a tenant's keys, never the keys themselves", Args: arguments(cobra.NoArgs)}
	return keyCommand(cmd, func(ctx context.Context, k *service.Keyring, tenant string, _ []string) error {
		keys, err := k.List(ctx, tenant)
		if err != nil {
			return err
		}
		return printKeys(cmd.OutOrStdout(), keys, time.Now())
	})
}

func printKeys(w io.Writer, keys []store.Key, now time.Time) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "ID\tNAME\tSTATE\tCREATED\tEXPIRES\tSCOPES")
	for _, k := range keys {
		state, expires := "live", "never"
		if !k.Expires.IsZero() {
			expires = k.Expires.UTC().Format(time.RFC3339)
			if !now.Before(k.Expires) {
				state = "expired"
			}
		}
		if !k.Revoked.IsZero() {
			state = "revoked"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Name, state, k.Created.UTC().Format(time.RFC3339), expires, strings.Join(k.Scopes, ","))
	}
	return t.Flush()
}

func newKeysRevoke() *cobra.Command {
	cmd := &cobra.Command{Use: "revoke ID", Short: "Ends a key for good", Args: arguments(cobra.ExactArgs(1))}
	return keyCommand(cmd, func(ctx context.Context, k *service.Keyring, tenant string, args []string) error {
		err := k.Revoke(ctx, tenant, args[0])
		if errors.Is(err, store.ErrNotFound) {
			return fmt.Errorf("tenant %s has no key %s", tenant, args[0])
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(cmd.OutOrStdout(), "key %s is revoked\n", args[0])
		return err
	})
}
