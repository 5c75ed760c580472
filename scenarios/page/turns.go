package page

import (
	"context"
	"errors"
	"net/http"
)

// turns lets so many computations run at once, and so many wait.
type turns struct {
	running, waiting chan struct{}
}

func newTurns(running, waiting int) turns {
	return turns{make(chan struct{}, running), make(chan struct{}, running+waiting)}
}

// errBusy tells that too many wait already.
var errBusy = errors.New("the program is busy: ask again")

// take waits for a turn; the end of it must be called.
func (t *turns) take(ctx context.Context) (end func(), err error) {
	select {
	case t.waiting <- struct{}{}:
	default:
		return nil, errBusy
	}
	select {
	case t.running <- struct{}{}:
		return func() { <-t.running; <-t.waiting }, nil
	case <-ctx.Done():
		<-t.waiting
		return nil, ctx.Err()
	}
}

// file is an answer that is a file to keep.
type file struct {
	name, kind string
	text       []byte
}

// turn lets compute answer when it is its turn, unless the client has gone.
func (t *turns) turn(takes *takes, compute func(ctx context.Context, q *query) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		q, err := parse(r.URL.Query(), takes)
		if err != nil {
			fail(w, err)
			return
		}
		ctx, cancel := context.WithTimeout(r.Context(), mostTime)
		defer cancel()
		end, err := t.take(ctx)
		if errors.Is(err, errBusy) || (err != nil && r.Context().Err() == nil) {
			w.Header().Set("Retry-After", "1")
			refuse(w, http.StatusServiceUnavailable, errBusy.Error())
			return
		}
		if err != nil {
			return // the client has gone
		}
		defer end()
		v, err := compute(ctx, q)
		switch {
		case ctx.Err() != nil && r.Context().Err() != nil: // the client has gone
		case ctx.Err() != nil:
			w.Header().Set("Retry-After", "1")
			refuse(w, http.StatusServiceUnavailable, "that takes too long")
		case err != nil:
			fail(w, err)
		default:
			answer(w, v)
		}
	}
}
