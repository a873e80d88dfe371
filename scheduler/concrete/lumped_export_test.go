package concrete

// LumpedAtAnyBiot opens the lumped equation to the reference rows that were
// computed with it outside the range in which Section.Lumped allows it.
func LumpedAtAnyBiot(s Section, run HeatRun) (HeatHistory, error) { return s.lumped(run) }
