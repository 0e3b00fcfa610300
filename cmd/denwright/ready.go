package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"
)

const readyUsage = `denwright ready [flags]

Asks a running service whether it answers questions (GET /readyz). Exit codes: 0
ready, 1 not ready or not reached. It serves as a container's health check.

Flags:
`

// readyWait bounds the answer. Own choice: a health check of every few seconds.
const readyWait = 2 * time.Second

func (p *program) ready(ctx context.Context, args []string) error {
	f := p.flags("ready", readyUsage)
	address := f.String("address", "127.0.0.1:8080", "`host:port` of the service")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return usageError{"ready takes flags only"}
	}
	host, port, err := net.SplitHostPort(*address)
	if err != nil {
		return usageError{fmt.Sprintf("--address %q is not host:port", *address)}
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1" // where a service that listens everywhere listens too
	}
	ctx, cancel := context.WithTimeout(ctx, readyWait)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/readyz", nil)
	if err != nil {
		return usageError{fmt.Sprintf("--address %q is not host:port", *address)}
	}
	// No proxy and no redirect: the service itself is asked.
	client := http.Client{Transport: &http.Transport{}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	defer client.CloseIdleConnections()
	answer, err := client.Do(r)
	if err != nil {
		return fmt.Errorf("not reached: %w", err)
	}
	defer answer.Body.Close() // read only
	body, err := io.ReadAll(io.LimitReader(answer.Body, 64<<10))
	if err != nil {
		return fmt.Errorf("not ready: %w", err)
	}
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("not ready: %s: %s", answer.Status, body)
	}
	_, err = fmt.Fprintf(p.out, "%s\n", body)
	return err
}
