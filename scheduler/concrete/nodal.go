package concrete

import (
	"fmt"

	lapack "gonum.org/v1/gonum/lapack/gonum"
)

// UsualNodes is a number of nodes through the thickness at which twice as many
// change a temperature by little, 0.02 K or less in walls up to 300 mm.
const UsualNodes = 21

// Nodal predicts the section with nodes through its thickness: conduction by
// Crank-Nicolson in finite volumes, hydration at each node by its own
// temperature (computed, by the heat model of Schindler & Folliard 2005, from
// memory). It is sound at any Biot number. Nodes is odd, 5 to 401, so that one
// lies at mid-thickness; UsualNodes serves.
//
// The heat of freezing water is left out: below 0 °C the prediction is too cold
// and the moment a face passes 0 °C stands. The error in time falls with the
// square of the step, which is halved until that changes no temperature by
// 0.02 K; the error in space falls with the square of the spacing.
//
// Values out of range: a [RangeError]; air that ends before the run: an error.
// The result must never open a strip window by itself.
func (s Section) Nodal(run HeatRun, nodes int) (HeatHistory, error) {
	inner, outer, err := s.check(run)
	if err != nil {
		return HeatHistory{}, fmt.Errorf("nodal wall: %w", err)
	}
	if err := inRange("nodes", float64(nodes), 5, 401, ""); err != nil {
		return HeatHistory{}, fmt.Errorf("nodal wall: %w", err)
	}
	if nodes%2 == 0 {
		return HeatHistory{}, fmt.Errorf("nodal wall: %d nodes, want an odd number", nodes)
	}
	h, err := refine(run, func(run HeatRun, steps int) (HeatHistory, error) {
		m, err := newMesh(s, run, [2]float64{inner, outer}, nodes, run.Every/float64(steps))
		if err != nil {
			return HeatHistory{}, err
		}
		return m.integrate(run, steps)
	})
	if err != nil {
		return HeatHistory{}, fmt.Errorf("nodal wall: %w", err)
	}
	return h, nil
}

// mesh is a section cut into layers about nodes, and its state. With C the heat
// capacities of the layers, K the conductances and b what the airs drive, it
// solves C dT/dt = b - K T + C d(rise)/dt. The heat of a step is the difference
// of the rise itself, so that all heat is counted exactly.
type mesh struct {
	mix      HeatMix
	dt       float64 // h
	faces    [2]float64
	airs     [2]Air
	link     float64   // conductance between nodes, W/(m2 K)
	capacity []float64 // C/dt, W/(m2 K)

	diagonal, off []float64 // factors of C/dt + K/2

	temp, age, rise       []float64 // state: °C, h, K
	newTemp, newAge, work []float64
	newRise               []float64
}

func newMesh(s Section, run HeatRun, faces [2]float64, nodes int, dt float64) (*mesh, error) {
	spacing := s.Thickness / float64(nodes-1)
	m := &mesh{
		mix: s.Mix, dt: dt, faces: faces,
		airs: [2]Air{s.Inner.Air, s.Outer.Air},
		link: s.Mix.Conductivity / spacing,
	}
	for _, field := range []*[]float64{
		&m.capacity, &m.diagonal, &m.temp, &m.age, &m.rise,
		&m.newTemp, &m.newAge, &m.newRise, &m.work,
	} {
		*field = make([]float64, nodes)
	}
	m.off = make([]float64, nodes-1)
	last := nodes - 1
	for i := range nodes {
		m.temp[i] = run.Start
		volume := spacing
		if i == 0 || i == last {
			volume = spacing / 2
		}
		m.capacity[i] = s.Mix.capacity() * volume / (dt * secondsPerHour)
		m.diagonal[i] = m.capacity[i] + m.conductance(i)/2
		if i < last {
			m.off[i] = -m.link / 2
		}
	}
	if !(lapack.Implementation{}).Dpttrf(nodes, m.diagonal, m.off) {
		return nil, fmt.Errorf("mesh of %d nodes, step %s h: matrix not positive definite", nodes, short(dt))
	}
	return m, nil
}

// conductance is the diagonal of K at a node.
func (m *mesh) conductance(i int) float64 {
	switch i {
	case 0:
		return m.link + m.faces[0]
	case len(m.temp) - 1:
		return m.link + m.faces[1]
	default:
		return 2 * m.link
	}
}

// flow is (b - K T) at a node: the heat that flows into it, W/m2, with both
// airs at an hour given as the two temperatures.
func (m *mesh) flow(i int, air [2]float64) float64 {
	t, last := m.temp, len(m.temp)-1
	switch i {
	case 0:
		return float64(m.link*(t[1]-t[0])) + float64(m.faces[0]*(air[0]-t[0]))
	case last:
		return float64(m.link*(t[last-1]-t[last])) + float64(m.faces[1]*(air[1]-t[last]))
	default:
		return m.link * (t[i-1] - float64(2*t[i]) + t[i+1])
	}
}

func (m *mesh) air(hour float64) [2]float64 {
	return [2]float64{m.airs[0].At(hour), m.airs[1].At(hour)}
}

// crankNicolson is one whole step from hour:
// (C/dt + K/2)(T' - T) = (b + b')/2 - K T + C/dt (rise' - rise).
func (m *mesh) crankNicolson(hour float64) {
	now, next := m.air(hour), m.air(hour+m.dt)
	mean := [2]float64{(now[0] + next[0]) / 2, (now[1] + next[1]) / 2}
	m.step(m.dt, func(i int) float64 { return m.flow(i, mean) + float64(m.capacity[i]*(m.newRise[i]-m.rise[i])) })
}

// backwardEuler is half a step from hour. Its matrix, 2C/dt + K, is twice that
// of a whole step, so the same factors serve. Two whole steps as four halves at
// the start damp the jump that placing is, which Crank-Nicolson alone would
// carry on as a ripple.
func (m *mesh) backwardEuler(hour float64) {
	next := m.air(hour + m.dt/2)
	m.step(m.dt/2, func(i int) float64 { return m.flow(i, next)/2 + float64(m.capacity[i]*(m.newRise[i]-m.rise[i])) })
}

// step ages the nodes by the mean of their speeds before and after (Heun), and
// solves for their temperatures with the heat of that ageing, twice: first with
// the speed before, then with the mean.
func (m *mesh) step(dt float64, drive func(int) float64) {
	h := m.mix.Hydration
	for i, t := range m.temp {
		m.work[i] = h.ageFactor(t)
		m.newAge[i] = m.age[i] + float64(dt*m.work[i])
	}
	m.solve(drive)
	for i := range m.temp {
		m.newAge[i] = m.age[i] + float64(dt/2*(m.work[i]+h.ageFactor(m.newTemp[i])))
	}
	m.solve(drive)
	m.temp, m.newTemp = m.newTemp, m.temp
	m.age, m.newAge = m.newAge, m.age
	m.rise, m.newRise = m.newRise, m.rise
}

// solve finds newRise of newAge, then newTemp.
func (m *mesh) solve(drive func(int) float64) {
	full := m.mix.fullRise()
	for i, te := range m.newAge {
		m.newRise[i] = full * m.mix.Hydration.degree(te)
		m.newTemp[i] = drive(i)
	}
	lapack.Implementation{}.Dpttrs(len(m.temp), 1, m.diagonal, m.off, m.newTemp, 1)
	for i, t := range m.temp {
		m.newTemp[i] += t
	}
}

// point is the state at an hour.
func (m *mesh) point(hour float64) HeatPoint {
	last := len(m.temp) - 1
	p := HeatPoint{Hour: hour, Core: m.temp[last/2], Inner: m.temp[0], Outer: m.temp[last], Age: m.age[0]}
	for i, t := range m.temp {
		weight := 1 / float64(last)
		if i == 0 || i == last {
			weight /= 2
		}
		p.Mean += float64(weight * t)
		p.Degree += float64(weight * m.mix.Hydration.degree(m.age[i]))
		p.Age = min(p.Age, m.age[i])
	}
	return p
}

// integrate carries the mesh through the run, steps to each spacing.
func (m *mesh) integrate(run HeatRun, steps int) (HeatHistory, error) {
	history := HeatHistory{Step: m.dt, Points: []HeatPoint{m.point(0)}}
	for span := range run.spans() {
		for i := range steps {
			n := span*steps + i
			hour := m.dt * float64(n)
			if n < 2 {
				m.backwardEuler(hour)
				m.backwardEuler(hour + m.dt/2)
				continue
			}
			m.crankNicolson(hour)
		}
		p := m.point(run.Every * float64(span+1))
		for _, t := range []float64{p.Core, p.Inner, p.Outer} {
			if err := inRange("predicted temperature", t, minHydrationTemp, maxHydrationTemp, "°C"); err != nil {
				return HeatHistory{}, fmt.Errorf("hour %v: %w", p.Hour, err)
			}
		}
		history.Points = append(history.Points, p)
	}
	return history, nil
}
