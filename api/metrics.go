package api

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/pprof"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"denwright/sizing"
)

// metrics are counted for Prometheus. Routes are those of the program, never paths as
// sent, so that a client can't make new series.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	duration *prometheus.HistogramVec
	inFlight prometheus.Gauge
}

func newMetrics(s *Server) *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "denwright_requests_total", Help: "Requests answered."}, []string{"method", "route", "status"}),
		duration: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "denwright_request_seconds", Help: "Time from the header read to the answer written.",
			Buckets: []float64{.0001, .00025, .0005, .001, .0025, .005, .01, .025, .1, .5, 2, 10, 60}}, []string{"route"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{Name: "denwright_requests_in_flight", Help: "Requests being answered."}),
	}
	ready := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "denwright_ready", Help: "1 while questions are answered."}, func() float64 {
		if s.snapshot.Load() == nil || s.stopping.Load() {
			return 0
		}
		return 1
	})
	build := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "denwright_build_info", Help: "Always 1.", ConstLabels: prometheus.Labels{"engine_version": sizing.EngineVersion}},
		func() float64 { return 1 })
	m.registry.MustRegister(m.requests, m.duration, m.inFlight, ready, build, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// answered counts a request. Methods beyond those served are one.
func (m *metrics) answered(method, route string, status int, took time.Duration) {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions:
	default:
		method = "other"
	}
	if route == "" {
		route = "none"
	}
	m.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
	m.duration.WithLabelValues(route).Observe(took.Seconds())
}

// Admin serves what only the people who run the program should see: metrics and profiles.
func (s *Server) Admin() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /debug/pprof/", pprof.Index)
	mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	mux.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
	return mux
}

// ErrNotLoopback refuses an administration address that others could reach.
var ErrNotLoopback = errors.New("the administration address must be a loopback one, such as 127.0.0.1:8090")

// RunAdmin serves Admin on a loopback address until ctx ends.
func (s *Server) RunAdmin(ctx context.Context, address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("administration address: %w", err)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return ErrNotLoopback
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("administration address: %w", err)
	}
	if at, ok := l.Addr().(*net.TCPAddr); !ok || !at.IP.IsLoopback() { // localhost may be told to mean anything
		return errors.Join(ErrNotLoopback, l.Close())
	}
	srv := &http.Server{Handler: s.Admin(), ReadHeaderTimeout: 5 * time.Second}
	stop := context.AfterFunc(ctx, func() { _ = srv.Close() })
	defer stop()
	s.log.Info("administration", "address", l.Addr().String())
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("administration: %w", err)
	}
	return nil
}
