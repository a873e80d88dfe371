package register

// tally adds up rows.
type tally struct {
	Totals
	kept, of int64 // of stripped rows whose last concrete is known: their sum, and how many
}

func (t *tally) add(rows []Row) {
	for i := range rows {
		r := &rows[i]
		t.Braces++
		t.Early += one(r.Early)
		t.Unpermitted += one(r.Unpermitted)
		t.Exceptions += one(len(r.Exceptions) > 0)
		if r.Stripped.At.IsZero() {
			t.Standing++
			continue
		}
		t.Stripped++
		if !r.ClockZero.IsZero() {
			t.kept, t.of = t.kept+r.KeptS, t.of+1
			t.KeptLeastS = least(t.KeptLeastS, r.KeptS)
		}
		if r.Margin.Known {
			t.MarginLeastS = least(t.MarginLeastS, r.Margin.S)
		}
	}
}

func (t *tally) totals() Totals {
	if t.of > 0 {
		mean := t.kept / t.of / 60 * 60 // down to the minute
		t.KeptMeanS = &mean
	}
	return t.Totals
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

func least(old *int64, v int64) *int64 {
	if old != nil && *old <= v {
		return old
	}
	return &v
}

func (w Wall) sum() Wall {
	var t tally
	t.add(w.Rows)
	w.Total = t.totals()
	return w
}

func (s Site) sum() Site {
	var t tally
	for _, w := range s.Walls {
		t.add(w.Rows)
	}
	s.Total = t.totals()
	return s
}
