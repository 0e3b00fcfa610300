package api

import (
	"context"
	"crypto/sha256"
	"math"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"
)

// slots bound how many questions are computed at once, so that under more load than
// the machine carries each accepted one is still answered in time. A body is read
// before a slot is taken: a slow client holds none.
type slots struct {
	free chan struct{}
	wait time.Duration
}

func newSlots(n int, wait time.Duration) *slots { return &slots{make(chan struct{}, n), wait} }

// take waits for a slot. The problem tells the client to come back later.
func (s *slots) take(ctx context.Context) error {
	select {
	case s.free <- struct{}{}:
		return nil
	default:
	}
	timer := time.NewTimer(s.wait)
	defer timer.Stop()
	select {
	case s.free <- struct{}{}:
		return nil
	case <-timer.C:
	case <-ctx.Done():
	}
	return &Problem{kind: tooBusy}
}

func (s *slots) give() { <-s.free }

// gate holds the rate of each client: of a key, and of an address.
type gate struct {
	perSecond float64
	burst     int
	proxies   int

	mu      sync.Mutex
	clients map[client]*rate.Limiter
}

func newGate(cfg Config) *gate {
	return &gate{perSecond: cfg.RatePerSecond, burst: cfg.RateBurst, proxies: cfg.Proxies, clients: map[client]*rate.Limiter{}}
}

// client is who is counted: a hash of the key presented, or an address.
type client struct {
	of   string // key, address, keys at an address
	name [16]byte
}

const (
	// maxClients bounds what is remembered of clients; those that have their whole
	// burst again are forgotten first.
	maxClients = 20_000
	// keysAtAddress is how many times the rate of one client an address has for
	// requests that present keys: a key is not looked up before it is counted, so
	// inventing one must not open a new account each time.
	keysAtAddress = 10
)

// pass reports whether a request may go on, or in how many seconds it may.
func (g *gate) pass(r *http.Request, now time.Time) (ok bool, after int) {
	if g.perSecond <= 0 {
		return true, 0
	}
	address := g.address(r)
	key := r.Header.Get(echo.HeaderAuthorization)
	if key == "" {
		return g.count(client{"address", name(address)}, 1, now)
	}
	if ok, after = g.count(client{"keys at an address", name(address)}, keysAtAddress, now); !ok {
		return ok, after
	}
	return g.count(client{"key", name(key)}, 1, now)
}

func name(s string) (n [16]byte) {
	digest := sha256.Sum256([]byte(s))
	copy(n[:], digest[:])
	return n
}

func (g *gate) count(c client, times float64, now time.Time) (ok bool, after int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	l := g.clients[c]
	if l == nil {
		if len(g.clients) >= maxClients {
			g.forget(now)
		}
		l = rate.NewLimiter(rate.Limit(g.perSecond*times), int(float64(g.burst)*times))
		g.clients[c] = l
	}
	turn := l.ReserveN(now, 1)
	if delay := turn.DelayFrom(now); delay > 0 {
		turn.CancelAt(now)
		return false, int(math.Ceil(delay.Seconds()))
	}
	return true, 0
}

// forget drops the clients that have their whole burst again, of which nothing is
// lost; where all are busy, all.
func (g *gate) forget(now time.Time) {
	for c, l := range g.clients {
		if l.TokensAt(now) >= float64(l.Burst()) {
			delete(g.clients, c)
		}
	}
	if len(g.clients) >= maxClients {
		clear(g.clients)
	}
}

// address is the client's, as the outermost trusted proxy saw it.
func (g *gate) address(r *http.Request) string {
	if g.proxies > 0 {
		var hops []string
		for _, field := range r.Header.Values(echo.HeaderXForwardedFor) {
			for hop := range strings.SplitSeq(field, ",") {
				hops = append(hops, strings.TrimSpace(hop))
			}
		}
		if n := len(hops); n >= g.proxies {
			return hops[n-g.proxies]
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// limited refuses a client that asks too often, but never a health check.
func (g *gate) limited(c echo.Context) error {
	if path := c.Path(); path == "/healthz" || path == "/readyz" {
		return nil
	}
	ok, after := g.pass(c.Request(), time.Now())
	if ok {
		return nil
	}
	c.Response().Header().Set(echo.HeaderRetryAfter, strconv.Itoa(after))
	return &Problem{kind: tooOften}
}
