package projector

import (
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"

	"earlyage/projector/wall"
)

// foldable is a state of a wall or a site.
type foldable interface {
	Add(facts ...wall.Fact)
	AddRefused(list ...wall.Refused)
	Dirty() []wall.Chunk
}

const (
	brokenField  = "event"
	brokenReason = "this program cannot fold it: a defect, to be reported with the message"
)

// foldGroup adds facts and refused messages to a state and returns the chunks that changed. An
// event that makes the fold panic is a defect of the program, yet it must not
// stop every other wall: it is set aside, named in broken and noted as refused,
// which is a doubt. again gives the committed state once more.
func foldGroup[S foldable](log *slog.Logger, st S, again func() (S, error), facts []wall.Fact, refused []wall.Refused) (_ S, chunks []wall.Chunk, broken []wall.Fact, err error) {
	chunks, cause := tryFold(st, facts, refused)
	if cause == nil {
		return st, chunks, nil, nil
	}
	log.Error("fold panicked; its events are tried one by one", "cause", cause.Error())
	good, broken, err := sift(again, nil, facts)
	if err != nil {
		return st, nil, nil, err
	}
	refused = slices.Clone(refused)
	for _, f := range broken {
		refused = append(refused, wall.Refused{Seq: f.Seq, Recorded: f.Recorded, ID: f.ID, Source: f.Source.String(), Field: brokenField, Reason: brokenReason})
	}
	if st, err = again(); err != nil {
		return st, nil, nil, err
	}
	if chunks, cause = tryFold(st, good, refused); cause != nil {
		return st, nil, nil, cause
	}
	return st, chunks, broken, nil
}

// sift halves a group until each event that cannot be folded stands alone.
func sift[S foldable](again func() (S, error), good, facts []wall.Fact) (taken, broken []wall.Fact, err error) {
	st, err := again()
	if err != nil {
		return nil, nil, err
	}
	all := slices.Concat(good, facts)
	if _, cause := tryFold(st, all, nil); cause == nil {
		return all, nil, nil
	}
	if len(facts) == 1 {
		return good, facts, nil
	}
	half := len(facts) / 2
	good, first, err := sift(again, good, facts[:half])
	if err != nil {
		return nil, nil, err
	}
	good, second, err := sift(again, good, facts[half:])
	return good, slices.Concat(first, second), err
}

func tryFold(st foldable, facts []wall.Fact, refused []wall.Refused) (chunks []wall.Chunk, cause error) {
	defer func() {
		if p := recover(); p != nil {
			chunks, cause = nil, fmt.Errorf("fold panics: %v\n%s", p, debug.Stack())
		}
	}()
	if len(refused) > 0 {
		st.AddRefused(refused...)
	}
	if len(facts) > 0 {
		st.Add(facts...)
	}
	return st.Dirty(), nil
}
