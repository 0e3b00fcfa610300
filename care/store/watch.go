package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"denwright/care"
)

// channel is the name under which PostgreSQL passes on that the catalogue changed.
const channel = "denwright_catalogue"

// DefaultPoll is how often a change is looked for where no notice came. With
// PostgreSQL it is the fallback only; with SQLite it is how another process's
// publish is seen. Own choice.
const DefaultPoll = 2 * time.Second

// tell wakes the watchers of this Store.
func (s *Store) tell() {
	s.announce.Lock()
	defer s.announce.Unlock()
	close(s.changed)
	s.changed = make(chan struct{})
}

func (s *Store) told() <-chan struct{} {
	s.announce.Lock()
	defer s.announce.Unlock()
	return s.changed
}

// Watch calls use with the catalogue in force, once at first and then after each
// change made by any replica, until ctx ends. Calls come one after another; a
// burst of changes may be one call. Every trouble goes to report, after which it
// connects again by itself; meanwhile the last catalogue used stays good.
func (s *Store) Watch(ctx context.Context, poll time.Duration, use func(*care.Catalogue), report func(error)) {
	if poll <= 0 {
		poll = DefaultPoll
	}
	const first, most = 100 * time.Millisecond, 5 * time.Second
	used, pause := int64(-1), first
	for ctx.Err() == nil {
		err := s.watchOnce(ctx, poll, &used, use, func() { pause = first })
		if ctx.Err() != nil {
			return
		}
		report(err)
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
		pause = min(2*pause, most)
	}
}

// watchOnce returns at the first trouble. used is the number of the catalogue
// handed out last; well is called whenever the database has answered.
func (s *Store) watchOnce(ctx context.Context, poll time.Duration, used *int64, use func(*care.Catalogue), well func()) error {
	if err := s.ensure(ctx); err != nil {
		return err
	}
	notices, broken := make(chan struct{}, 1), make(chan error, 1)
	if s.engine == postgresEngine {
		// Listening comes before the first look, so that no change falls between the two.
		conn, err := s.listener(ctx)
		if err != nil {
			return classify(ctx, err)
		}
		listening, stop := context.WithCancel(ctx)
		done := make(chan struct{})
		go func() {
			defer close(done)
			broken <- s.listen(listening, conn, poll, notices)
		}()
		defer func() {
			stop()
			<-done
			shut, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
			defer cancel()
			_ = conn.Close(shut) // it may be broken, which was or will be reported
		}()
	}
	tick := time.NewTicker(poll)
	defer tick.Stop()
	for {
		told := s.told()
		if err := s.refresh(ctx, used, use); err != nil {
			return err
		}
		well()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-broken:
			return classify(ctx, err)
		case <-notices:
		case <-told:
		case <-tick.C:
		}
	}
}

// refresh hands out the catalogue if its number is another than before.
func (s *Store) refresh(ctx context.Context, used *int64, use func(*care.Catalogue)) error {
	var number int64
	err := s.reading(ctx, func(ctx context.Context, q queryer) error {
		return q.QueryRowContext(ctx, `SELECT coalesce(max(number), 0) FROM catalogue_change`).Scan(&number)
	})
	if err != nil || number == *used {
		return err
	}
	c, number, err := s.snapshot(ctx)
	if c != nil && number != *used {
		// Good even where its name could not be written down, as on a full disk.
		use(c)
		*used = number
	}
	return err
}

// listener opens a connection of its own, outside the pool.
func (s *Store) listener(ctx context.Context) (*pgx.Conn, error) {
	config := s.pool.Config().ConnConfig
	bounded, cancel := context.WithTimeout(ctx, s.config.Timeout)
	defer cancel()
	conn, err := pgx.ConnectConfig(bounded, config)
	if err != nil {
		return nil, err
	}
	if _, err := conn.Exec(bounded, "LISTEN "+channel); err != nil {
		return nil, errors.Join(err, conn.Close(bounded))
	}
	return conn, nil
}

// listen passes notices on. A silent connection is asked for a sign of life at
// each poll: a cut network says nothing by itself.
func (s *Store) listen(ctx context.Context, conn *pgx.Conn, poll time.Duration, notices chan<- struct{}) error {
	for {
		quiet, cancel := context.WithTimeout(ctx, poll)
		_, err := conn.WaitForNotification(quiet)
		cancel()
		switch {
		case err == nil:
			select {
			case notices <- struct{}{}:
			default: // one is waiting already
			}
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, context.DeadlineExceeded):
			alive, cancel := context.WithTimeout(ctx, s.config.Timeout)
			err := conn.Ping(alive)
			cancel()
			if err != nil {
				return fmt.Errorf("listening connection: %w", err)
			}
		default:
			return fmt.Errorf("listening connection: %w", err)
		}
	}
}
