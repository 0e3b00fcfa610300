package main

import (
	"context"

	"denwright/api"
)

const serveUsage = `denwright serve [flags]

Answers over HTTP: the JSON API under /v1, its contract at /openapi.yaml. The
catalogue is carried in the program; no database and no network are needed.

Flags:
`

func (p *program) serve(ctx context.Context, args []string) error {
	f := p.flags("serve", serveUsage)
	address := f.String("address", "127.0.0.1:8080", "host and port to listen on")
	rest, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return usageError{"serve takes flags only"}
	}
	return api.New(p.catalogue, logger(p.err)).Run(ctx, *address, api.Config{})
}
