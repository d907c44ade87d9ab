package service

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/netip"
)

// validateListeners says what is wrong with where and how the service listens. A
// key that travels in clear past its own machine is a key given away, so a public
// listener needs TLS, or an operator who says that it ends elsewhere.
func (c Config) validateListeners() error {
	var errs []error
	for _, a := range []struct{ flag, value string }{
		{"grpc-address", c.GRPCAddress}, {"http-address", c.HTTPAddress}, {"admin-address", c.AdminAddress},
	} {
		host, _, err := net.SplitHostPort(a.value)
		switch {
		case err != nil:
			errs = append(errs, fmt.Errorf("%s: %q is not host:port", a.flag, a.value))
		case c.TLSCert == "" && !c.InsecureListen && !isLoopback(host):
			errs = append(errs, fmt.Errorf("%s: %q may be reached from elsewhere, in clear: set --tls-cert and --tls-key; or --insecure-listen, only behind a proxy that ends TLS", a.flag, a.value))
		}
	}
	if (c.TLSCert == "") != (c.TLSKey == "") {
		errs = append(errs, errors.New("tls-cert: needs tls-key, and the other way round"))
	}
	if c.TLSClientCA != "" && c.TLSCert == "" {
		errs = append(errs, errors.New("tls-client-ca: needs tls-cert and tls-key"))
	}
	return errors.Join(errs...)
}

// isLoopback takes an address of the loopback alone: what a name means is up to
// others, and no host is every interface.
func isLoopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// listen opens the three sockets. gRPC's server does TLS by itself. JSON stays
// with HTTP/1.1, so that its bounds are the same with TLS and without.
func (a *App) listen(ctx context.Context) error {
	var lc net.ListenConfig
	for _, l := range []struct {
		flag, address string
		to            *net.Listener
		secured       func() *tls.Config // nil: not here
	}{
		{"grpc-address", a.cfg.GRPCAddress, &a.grpcListener, nil},
		{"http-address", a.cfg.HTTPAddress, &a.jsonListener, func() *tls.Config { return a.certificates.forCallers("http/1.1") }},
		{"admin-address", a.cfg.AdminAddress, &a.adminListener, func() *tls.Config { return a.certificates.forOperators("http/1.1") }},
	} {
		listener, err := lc.Listen(ctx, "tcp", l.address)
		if err != nil {
			return fmt.Errorf("%s: %w", l.flag, err)
		}
		if a.certificates != nil && l.secured != nil {
			listener = tls.NewListener(listener, l.secured())
		}
		*l.to = listener
		a.closers.add(func(context.Context) error {
			_ = listener.Close() // a server that ran has closed it already
			return nil
		})
	}
	return nil
}
