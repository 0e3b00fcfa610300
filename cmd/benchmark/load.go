package main

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"sync/atomic"
	"time"

	vegeta "github.com/tsenart/vegeta/v12/lib"
)

// clients is how many connections ask at once.
const clients = 16

// load is what one attack came to.
type load struct {
	latencies []time.Duration
	answered  int // with a 2xx
	failed    map[string]int
	took      time.Duration
}

// attack sends the targets round and round for a time, at a rate or, with 0, each
// client as soon as it has its answer.
func attack(ctx context.Context, targets []vegeta.Target, rate int, d time.Duration) load {
	a := vegeta.NewAttacker(vegeta.Workers(clients), vegeta.MaxWorkers(clients), vegeta.Connections(clients), vegeta.KeepAlive(true),
		vegeta.Timeout(30*time.Second), vegeta.MaxBody(0))
	if rate > 0 { // as many clients as it takes to keep the pace
		a = vegeta.NewAttacker(vegeta.Workers(clients), vegeta.MaxWorkers(1000), vegeta.Connections(1000), vegeta.KeepAlive(true),
			vegeta.Timeout(30*time.Second), vegeta.MaxBody(0))
	}
	var next atomic.Int64
	targeter := func(t *vegeta.Target) error {
		*t = targets[int(next.Add(1)-1)%len(targets)]
		return nil
	}
	out := load{failed: map[string]int{}}
	begun := time.Now()
	results := a.Attack(targeter, vegeta.Rate{Freq: rate, Per: time.Second}, d, "")
	stop := context.AfterFunc(ctx, func() { a.Stop() })
	defer stop()
	for r := range results {
		out.took = max(out.took, r.End().Sub(begun))
		out.latencies = append(out.latencies, r.Latency)
		switch {
		case r.Code >= 200 && r.Code < 300:
			out.answered++
		case r.Code == 0:
			out.failed[r.Error]++
		default:
			out.failed[fmt.Sprintf("%d from %s %s", r.Code, r.Method, r.URL)]++
		}
	}
	return out
}

func (l *load) add(o load) {
	if l.failed == nil {
		l.failed = map[string]int{}
	}
	l.latencies = append(l.latencies, o.latencies...)
	l.answered, l.took = l.answered+o.answered, l.took+o.took
	for what, n := range o.failed {
		l.failed[what] += n
	}
}

// rate is answers a second.
func (l *load) rate() float64 { return float64(l.answered) / l.took.Seconds() }

// quantile is the latency that the share q of requests stayed within.
func (l *load) quantile(q float64) time.Duration { return quantile(l.latencies, q) }

func quantile(of []time.Duration, q float64) time.Duration {
	if len(of) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(of))
	return sorted[min(len(sorted)-1, int(math.Ceil(q*float64(len(sorted)))))]
}

func median(of []float64) float64 {
	sorted := slices.Sorted(slices.Values(of))
	if len(sorted) == 0 {
		return math.NaN()
	}
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

func posts(base, path string, bodies [][]byte) (out []vegeta.Target) {
	for _, b := range bodies {
		out = append(out, vegeta.Target{Method: http.MethodPost, URL: base + path, Body: b, Header: http.Header{"Content-Type": {"application/json"}}})
	}
	return out
}
