package sensor

import "slices"

// SetFaults puts other faults in the place of all those of the setup, from the next
// Take on; filters, draws and the setup else go on as they are. With a list that says
// the same of the cycles taken already, what is delivered is what a Rig delivers that
// had it from the beginning. Errors are those of New about faults; they change nothing.
func (r *Rig) SetFaults(all []Fault) error {
	other := Rig{set: r.set}
	other.set.Faults = slices.Clone(all)
	if err := other.arm(); err != nil {
		return err
	}
	r.set.Faults, r.faults = other.set.Faults, other.faults
	return nil
}
