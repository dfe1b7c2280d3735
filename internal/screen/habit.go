package screen

// What is shown of how readings are accepted, before a session begins.
const (
	// Quicker offers the other habit where a job is begun and none was chosen.
	Quicker = `Every reading waits for "confirm". Quicker: --accept agreed. A reading that passes and
that both recognisers heard alike is then stored when you go on with the next; what
fails, is odd or disputed, or replaces another still waits for "confirm".`

	// GoesOnQuicker says that the habit of the session before goes on.
	GoesOnQuicker = `As in your last session (--accept agreed), a reading that passes is stored when you go on
with the next. With --accept each every reading waits for "confirm".`
)
