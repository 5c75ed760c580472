package ideal

import (
	"errors"
	"fmt"
	"math"

	"phasebench/model/gas"
)

// State is the gas at one point of a cycle.
type State struct {
	T         float64 // [K]
	P         float64 // [Pa]
	V         float64 // [m³/kg]
	U         float64 // formation energy included where there is fuel [J/kg]
	S         float64 // [J/kg/K]
	MolarMass float64 // [kg/mol]

	// Composition is the mole fractions of burned gas at equilibrium in the
	// order of gas.ProductNames; nil for any other gas.
	Composition []float64
}

func (s *State) enthalpy() float64 { return s.U + s.P*s.V }

// at is the state of g at t [K] and p [Pa].
func at(g gas.Gas, t, p float64) State {
	var d gas.Props
	g.Props(t, p, &d)
	return State{T: t, P: p, V: d.V, U: d.U, S: d.S, MolarMass: gas.RU * t / (p * d.V)}
}

// isentrope is the state of g at volume v with the entropy of from.
func isentrope(g gas.Gas, from *State, v float64) (State, error) {
	const exponent = 1.3 // for the guess
	r := from.V / v
	t, p, err := gas.TPFromSV(g, from.S, v, from.T*math.Pow(r, exponent-1), from.P*math.Pow(r, exponent))
	if err != nil {
		return State{}, err
	}
	return at(g, t, p), nil
}

// Cycle is a cycle solved.
type Cycle struct {
	States     []State // 1, 2, ... in the order of handbooks
	Heat       float64 // taken in, or set free by complete combustion [J/kg]
	Work       float64 // net [J/kg]
	Efficiency float64 // Work/Heat [-]
	MEP        float64 // mean effective pressure, Work/(v1-v2) [Pa]

	fresh, burned gas.Gas // of compression and of expansion
}

// begin compresses the charge c of gas g.
func begin(c *Charge, g gas.Gas) (*Cycle, error) {
	first := at(g, c.T1, c.P1)
	second, err := isentrope(g, &first, first.V/c.Ratio)
	if errors.Is(err, gas.ErrNoState) || err == nil && !(second.T <= hottest-tightest) {
		return nil, problem("ratio", number(c.Ratio),
			fmt.Sprintf("a ratio that keeps the compressed charge below %d K", hottest-tightest))
	}
	if err != nil {
		return nil, err
	}
	return &Cycle{States: []State{first, second}, fresh: g, burned: g}, nil
}

// last is the state reached so far.
func (c *Cycle) last() *State { return &c.States[len(c.States)-1] }

// finish expands the gas to the first volume and sums up.
func (c *Cycle) finish(heat float64) (*Cycle, error) {
	end, err := isentrope(c.burned, c.last(), c.States[0].V)
	if err != nil {
		return nil, fmt.Errorf("ideal: expansion: %w", err)
	}
	c.States = append(c.States, end)
	c.Heat = heat
	n := len(c.States)
	for i := range n - 1 {
		a, b := &c.States[i], &c.States[i+1]
		if i == 0 || i == n-2 {
			c.Work += a.U - b.U
		} else {
			c.Work += b.P * (b.V - a.V) // along constant volume or pressure
		}
	}
	c.Efficiency = c.Work / heat
	c.MEP = c.Work / (c.States[0].V - c.States[1].V)
	return c, nil
}

// Path is the cycle as a closed curve for diagrams: each isentrope at n >= 2
// points evenly spaced in ln v, and between them straight lines of pressure
// over volume. It is not for two goroutines at once.
func (c *Cycle) Path(n int) ([]State, error) {
	n = max(n, 2)
	end := len(c.States)
	path := make([]State, 0, 2*n+end-3)
	leg := func(g gas.Gas, a, b *State) error {
		path = append(path, *a)
		from := a
		for i := 1; i < n-1; i++ {
			s, err := isentrope(g, from, a.V*math.Pow(b.V/a.V, float64(i)/float64(n-1)))
			if err != nil {
				return fmt.Errorf("ideal: path: %w", err)
			}
			path = append(path, s)
			from = &path[len(path)-1]
		}
		path = append(path, *b)
		return nil
	}
	if err := leg(c.fresh, &c.States[0], &c.States[1]); err != nil {
		return nil, err
	}
	path = append(path, c.States[2:end-2]...)
	if err := leg(c.burned, &c.States[end-2], &c.States[end-1]); err != nil {
		return nil, err
	}
	return append(path, c.States[0]), nil
}
