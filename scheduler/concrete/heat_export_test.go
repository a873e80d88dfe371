package concrete

// LumpedAtAnyBiot opens the lumped equation to the reference rows that were
// computed with it outside the range in which Section.Lumped allows it.
func LumpedAtAnyBiot(s Section, run HeatRun) (HeatHistory, error) { return s.lumped(run) }

// NodalWithSteps is Section.Nodal with a fixed number of time steps to each
// spacing of points, to measure the order of the scheme.
func NodalWithSteps(s Section, run HeatRun, nodes, steps int) (HeatHistory, error) {
	inner, outer, err := s.check(run)
	if err != nil {
		return HeatHistory{}, err
	}
	m, err := newMesh(s, run, [2]float64{inner, outer}, nodes, run.Every/float64(steps))
	if err != nil {
		return HeatHistory{}, err
	}
	return m.integrate(run, steps)
}

// LumpedWithSteps is the lumped equation with a fixed number of time steps to
// each spacing of points.
func LumpedWithSteps(s Section, run HeatRun, steps int) (HeatHistory, error) {
	body, err := s.body(run)
	if err != nil {
		return HeatHistory{}, err
	}
	return body.integrate(run, steps)
}
