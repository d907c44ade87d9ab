package access

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/netip"
	"net/url"
)

// largestAnswer of an issuer, in bytes.
const largestAnswer = 1 << 20

// ValidateIssuer says what is wrong with an issuer's URL.
func ValidateIssuer(issuer string) error {
	u, err := url.Parse(issuer)
	switch {
	case err != nil || u.Host == "" || !u.IsAbs():
		return errors.New("it is not a URL such as https://id.example.com")
	case u.User != nil || u.RawQuery != "" || u.ForceQuery || u.Fragment != "":
		return errors.New("an issuer has no user, no query and no fragment")
	case u.Scheme != "https" && !inClear(u):
		return errors.New("must be https://, or http:// on loopback")
	}
	return nil
}

// inClear reports whether a URL stays on this machine.
func inClear(u *url.URL) bool {
	ip, err := netip.ParseAddr(u.Hostname())
	return u.Scheme == "http" && err == nil && ip.IsLoopback()
}

// issuerClient asks an issuer and whom its description names, encrypted, without
// going where an answer sends it, and reads a bounded answer.
func issuerClient(issuer string) *http.Client {
	u, err := url.Parse(issuer)
	base := http.DefaultTransport.(*http.Transport).Clone()
	base.DisableKeepAlives = true // it is asked every ten minutes
	return &http.Client{
		Transport:     guarded{next: base, local: err == nil && inClear(u)},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

type guarded struct {
	next  http.RoundTripper
	local bool // the issuer is on this machine and speaks in clear
}

// RoundTrip implements http.RoundTripper.
func (g guarded) RoundTrip(r *http.Request) (*http.Response, error) {
	if r.URL.Scheme != "https" && !(g.local && inClear(r.URL)) {
		return nil, fmt.Errorf("%s is not asked in clear", r.URL.Host)
	}
	resp, err := g.next.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	resp.Body = struct {
		io.Reader
		io.Closer
	}{io.LimitReader(resp.Body, largestAnswer), resp.Body}
	return resp, nil
}
