package model

// Setting is one key of an engine file with its value in the unit of the
// key: a string, a float64 or a []float64.
type Setting struct {
	Key   string
	Value any
}

// Settings lists every key that applies to e, in the order of the file.
func (e *Engine) Settings() []Setting {
	var all []Setting
	for _, w := range words {
		if !w.said(e) {
			continue
		}
		all = append(all, Setting{w.key, *w.at(e)})
	}
	for _, l := range lists {
		if v := *l.at(e); len(v) > 0 {
			inFile := make([]float64, len(v))
			for k := range v {
				inFile[k] = v[k] / l.scale
			}
			all = append(all, Setting{l.key, inFile})
		}
	}
	for i := range quantities {
		if q := &quantities[i]; q.applies(e) {
			all = append(all, Setting{q.key, q.value(e)})
		}
	}
	return all
}
