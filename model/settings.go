package model

// Setting is one key of an engine file with its value, a string or a float64
// in the unit of the key.
type Setting struct {
	Key   string
	Value any
}

// Settings lists every key that applies to e, in the order of the file.
func (e *Engine) Settings() []Setting {
	var all []Setting
	for _, w := range words {
		all = append(all, Setting{w.key, *w.at(e)})
	}
	for i := range quantities {
		if q := &quantities[i]; q.applies(e) {
			all = append(all, Setting{q.key, q.value(e)})
		}
	}
	return all
}
