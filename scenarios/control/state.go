package control

// Meaning says in a few words what s is.
func (s State) Meaning() string {
	switch s {
	case Follow:
		return "the order of the law passes"
	case Limit:
		return "the order passes up to a limit"
	case Hold:
		return "the last order stays"
	case Return:
		return "on the way to the base map"
	case Fallback:
		return "on the base map"
	}
	return ""
}
