package service

import (
	"errors"
	"fmt"
	"time"

	"example.com/steelyard/service/access"
)

// validateOIDC says what is wrong with the identity provider's settings.
func (c Config) validateOIDC() error {
	if c.OIDCIssuer == "" {
		if c.OIDCAudience != "" || c.OIDCTraineeClaim != "" {
			return errors.New("oidc-issuer: must be set for oidc-audience and oidc-trainee-claim to mean anything")
		}
		return nil
	}
	if err := access.ValidateIssuer(c.OIDCIssuer); err != nil {
		return fmt.Errorf("oidc-issuer: %w", err)
	}
	if c.OIDCAudience == "" {
		return errors.New("oidc-audience: must be set, so that no token that was made for another service opens anything here")
	}
	return nil
}

// openOIDC returns what opens an identity provider's tokens; nil without one.
func (a *App) openOIDC() (access.TokenOpener, error) {
	if a.cfg.OIDCIssuer == "" {
		return nil, nil
	}
	tokens, err := access.NewOIDC(access.OIDCOptions{
		Issuer: a.cfg.OIDCIssuer, Audience: a.cfg.OIDCAudience,
		TenantClaim: a.cfg.OIDCTenantClaim, ScopeClaim: a.cfg.OIDCScopeClaim, TraineeClaim: a.cfg.OIDCTraineeClaim,
		Now: time.Now, Log: a.log,
	})
	if err != nil {
		return nil, fmt.Errorf("oidc-issuer: %w", err)
	}
	return tokens, nil
}
