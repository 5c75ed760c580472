package record

// Caution goes with every recommendation.
const Caution = "A model is not your engine. Over-advance and detonation destroy engines: start retarded, " +
	"keep hard limits and an independent cut-off, wear ear and eye protection, ventilate. " +
	"Local codes and licensed practice come first."
