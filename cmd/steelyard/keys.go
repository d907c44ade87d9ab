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

// defaultScopes are all but those that take data out, destroy it, or make other keys.
func defaultScopes() []string {
	var out []string
	for _, s := range access.ScopeNames() {
		if s != "export" && s != "erase" && s != access.AdminScope {
			out = append(out, s)
		}
	}
	return out
}

func newKeys() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "keys",
		Short: "Makes, lists, rotates and revokes API keys",
		Long: `Makes, lists, rotates and revokes API keys. It works on the store itself, beside a running
server or without one. A running server may go on taking a revoked key for up to
two seconds.

A key belongs to a tenant and sees that tenant's trainees only. It is shown once,
when it is made; only a hash of it is kept.`,
	}
	group(cmd, newKeysCreate(), newKeysList(), newKeysRotate(), newKeysRevoke())
	return cmd
}

// keyCommand adds what they have in common: the store, and the tenant.
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
A front-desk scale needs log.write and nothing else. Whoever holds admin may make
keys of the tenant with any scope.`,
		Args: arguments(cobra.NoArgs),
	}
	name := cmd.Flags().String("name", "", "a label for people")
	trainee := cmd.Flags().String("trainee", "", "the only trainee that the key is for; all of the tenant's when empty")
	scopes := cmd.Flags().StringSlice("scope", defaultScopes(), "what the key may do; several with commas")
	expires := expiresFlag(cmd)
	end, until := time.Time{}, ""
	cmd.PreRunE = func(*cobra.Command, []string) error { // before a store is made for nothing
		for _, s := range *scopes {
			if _, ok := access.ParseScope(s); !ok {
				return usageError{fmt.Errorf("--scope: %q is not one of %s", s, strings.Join(access.ScopeNames(), ", "))}
			}
		}
		var err error
		end, until, err = expiry(*expires)
		return err
	}
	return keyCommand(cmd, func(ctx context.Context, k *service.Keyring, tenant string, _ []string) error {
		token, key, err := k.IssueBound(ctx, tenant, *trainee, *name, *scopes, end)
		if errors.Is(err, store.ErrNotFound) {
			return fmt.Errorf("tenant %s has no trainee %s", tenant, *trainee)
		}
		if err != nil {
			return err
		}
		return printNew(cmd, token, key, until)
	})
}

// printNew prints a new key to standard output, and what it is to standard error.
func printNew(cmd *cobra.Command, token string, k store.Key, until string) error {
	whose := "tenant " + k.Tenant
	if k.Trainee != "" {
		whose = "trainee " + k.Trainee + " of " + whose
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "key %s of %s may %s and %s. Keep it now: it is not shown again.\n",
		k.ID, whose, strings.Join(k.Scopes, ", "), until)
	_, err := fmt.Fprintln(cmd.OutOrStdout(), token)
	return err
}

func expiresFlag(cmd *cobra.Command) *string {
	return cmd.Flags().String("expires", "", "last day that the key works, such as 2027-12-31 (UTC); never ends when empty")
}

// expiry reads --expires and says it in words.
func expiry(text string) (end time.Time, until string, err error) {
	if text == "" {
		return time.Time{}, "never expires", nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}, "", usageError{fmt.Errorf("--expires: %q is not a day of the form 2027-12-31", text)}
	}
	return day.AddDate(0, 0, 1), "works until the end of " + text + " UTC", nil
}

// longestOverlap is ninety days: who needs longer has not begun.
const longestOverlap = 90 * 24 * time.Hour

func newKeysRotate() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rotate ID",
		Short: "Makes a key's successor and prints it, this once",
		Long: `Makes a successor of a key, with the same name, scopes and trainee, and prints it
to standard output, this once. Both work until the old one ends.`,
		Args: arguments(cobra.ExactArgs(1)),
	}
	overlap := cmd.Flags().Duration("overlap", 24*time.Hour, "how long the old key goes on working, up to 2160h; 0 ends it at once")
	expires := expiresFlag(cmd)
	end, until := time.Time{}, ""
	cmd.PreRunE = func(*cobra.Command, []string) error {
		if *overlap < 0 || *overlap > longestOverlap {
			return usageError{fmt.Errorf("--overlap: %s is not from 0 to %s", *overlap, longestOverlap)}
		}
		var err error
		end, until, err = expiry(*expires)
		return err
	}
	return keyCommand(cmd, func(ctx context.Context, k *service.Keyring, tenant string, args []string) error {
		token, key, err := k.Rotate(ctx, tenant, args[0], *overlap, end)
		if errors.Is(err, store.ErrNotFound) {
			return fmt.Errorf("tenant %s has no live key %s", tenant, args[0])
		}
		if err != nil {
			return err
		}
		return printNew(cmd, token, key, until)
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
	fmt.Fprintln(t, "ID\tNAME\tSTATE\tTRAINEE\tCREATED\tEXPIRES\tLAST USED\tSCOPES")
	for _, k := range keys {
		state, trainee := "live", k.Trainee
		switch {
		case !k.Revoked.IsZero():
			state = "revoked"
		case !k.Live(now):
			state = "expired"
		}
		if trainee == "" {
			trainee = "all"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n",
			k.ID, k.Name, state, trainee, instant(k.Created), instant(k.Expires), instant(k.Used), strings.Join(k.Scopes, ","))
	}
	return t.Flush()
}

// instant shows a time in UTC; the zero time never comes.
func instant(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return t.UTC().Format(time.RFC3339)
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
