//go:build unix

package redistest

import (
	"context"
	"strconv"
	"strings"
	"testing"
	"time"

	toxiproxy "github.com/Shopify/toxiproxy/v2"
	"github.com/rs/zerolog"
)

// Proxy is a line to a server that can be spoilt.
type Proxy struct {
	Addr string

	t     testing.TB
	proxy *toxiproxy.Proxy
}

// NewProxy opens a line to a server and closes it with the test.
func NewProxy(t testing.TB, s *Server) *Proxy {
	t.Helper()
	p := toxiproxy.NewProxy(toxiproxy.NewServer(toxiproxy.NewMetricsContainer(nil), zerolog.Nop()), "redis", "127.0.0.1:0", s.Addr)
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Stop)
	return &Proxy{Addr: p.Listen, t: t, proxy: p}
}

// Slow delays each answer.
func (p *Proxy) Slow(by time.Duration) {
	p.toxic(`{"name":"slow","type":"latency","stream":"downstream","attributes":{"latency":` + ms(by) + `}}`)
}

// Reset breaks each connection, present and new, at once.
func (p *Proxy) Reset() { p.toxic(`{"name":"reset","type":"reset_peer","attributes":{"timeout":0}}`) }

// Cut lets bytes of each answer through, then closes the connection.
func (p *Proxy) Cut(after int) {
	p.toxic(`{"name":"cut","type":"limit_data","stream":"downstream","attributes":{"bytes":` + strconv.Itoa(after) + `}}`)
}

// Heal takes all of it back.
func (p *Proxy) Heal() {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	p.proxy.Toxics.ResetToxics(ctx)
}

func (p *Proxy) toxic(spec string) {
	if _, err := p.proxy.Toxics.AddToxicJson(strings.NewReader(spec)); err != nil {
		p.t.Errorf("toxic: %v", err)
	}
}

func ms(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }
