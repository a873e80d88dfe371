package post

import (
	"errors"
	"fmt"
	"log/slog"

	"earlyage/notify/notice"
)

// Each sends a message to every address that has not accepted it yet. It returns
// nil once one has it and none is left to try; an error that wraps ErrRefused if
// all refuse it for good; another if any is to be tried again. An address that
// refuses what others take is said in the log.
func (m *Memory) Each(id string, addresses []string, log *slog.Logger, send func(address string) error) error {
	var trouble, refused []error
	for _, address := range addresses {
		key := id + " " + address
		if m.Has(key) {
			continue
		}
		switch err := send(address); {
		case err == nil:
			m.Add(key)
		case errors.Is(err, notice.ErrRefused):
			refused = append(refused, err)
		default:
			trouble = append(trouble, err)
		}
	}
	switch {
	case len(trouble) > 0:
		return fmt.Errorf("message %s: %w", id, unrefused{errors.Join(append(trouble, refused...)...)})
	case len(refused) == len(addresses):
		return fmt.Errorf("message %s: %w", id, errors.Join(refused...))
	case len(refused) > 0:
		log.Warn("an address refuses a message that another of the same reader took", "message", id, "err", errors.Join(refused...).Error())
	}
	return nil
}

// unrefused are errors of which some are final and some are not: together they
// are not.
type unrefused struct{ error }

// Is lets every error be recognized, but that one is final.
func (u unrefused) Is(target error) bool {
	return target != notice.ErrRefused && errors.Is(u.error, target)
}

// As lets the first error be found by its type.
func (u unrefused) As(target any) bool { return errors.As(u.error, target) }
