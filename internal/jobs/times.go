package jobs

import (
	"context"

	"waycall/internal/show"
	"waycall/internal/store"
)

// Times returns how the time on the boards of an open job went. Errors: as of
// store.Store.Events and store.LengthsOf.
func Times(ctx context.Context, s *store.Store) ([]show.Times, error) {
	log, err := s.Events(ctx)
	if err != nil {
		return nil, err
	}
	lengths, err := store.LengthsOf(ctx, s.Path())
	if err != nil {
		return nil, err
	}
	return show.TimesOf(log, lengths), nil
}
