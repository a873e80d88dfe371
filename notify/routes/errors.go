package routes

import (
	"errors"
	"fmt"
)

// Error is one mistake in a route file.
type Error struct {
	File   string
	Line   int    // from 1
	Field  string // such as routes[0].ladder[1].after; empty: the file
	Reason string // what is wrong and what is allowed
}

// Error implements error.
func (e *Error) Error() string {
	where := fmt.Sprintf("%s:%d", e.File, e.Line)
	if e.Field != "" {
		where += ": " + e.Field
	}
	return where + ": " + e.Reason
}

// Errors lists the mistakes that an error of Parse holds, in the order of the
// lines.
func Errors(err error) (list []*Error) {
	var one *Error
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		for _, e := range many.Unwrap() {
			list = append(list, Errors(e)...)
		}
	} else if errors.As(err, &one) {
		list = append(list, one)
	}
	return list
}
