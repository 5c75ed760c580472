package loop

// Changes returns the cycles in which the guard came to another state, the first
// cycle among them if it does not follow.
func (r *Run) Changes() []*Step {
	var all []*Step
	state := States()[0]
	for i := range r.Steps {
		if s := &r.Steps[i]; s.State != state {
			all = append(all, s)
			state = s.State
		}
	}
	return all
}
