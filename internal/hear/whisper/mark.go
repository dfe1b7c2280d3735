package whisper

// AdaptedMark is how a model says that it was adapted to the trade and writes phrases as
// the grammar spells them. It stands in the model's own file, so it goes wherever that
// goes, the sum covers it, and what packs the weights smaller keeps it: behind the end of
// text, the last token that a vocabulary spells, as the name of the one after it.
// whisper.cpp takes its marks by their numbers and shows their names only when it prints
// them. internal/lab/weights writes it where it merges an adaptation.
const AdaptedMark = "<|waycall:adapted|>"
