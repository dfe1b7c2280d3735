package limits

import (
	"waycall/internal/board"
)

// MaxZs is the greatest earth fault loop impedance of a way, as a schedule
// gives it.
type MaxZs struct {
	Ohm      float64 // at operating temperature
	Measured float64 // ohm: what a cold reading is held against, eighty per cent of Ohm, or Ohm itself where the RCD alone gives the limit
	Source   string  // clause or table
}

// MaxZsOf returns the greatest Zs of a way of b: by its overcurrent device, or by
// its RCD where the earthing is TT. Where what the circuit is for is not known
// and decides the disconnection time, it is the lesser. The error says what is
// not known.
func MaxZsOf(b *board.Board, w *board.Way) (MaxZs, error) {
	rcd := w.Device.RCD
	if rcd == nil {
		rcd = b.Main.RCD
	}
	if b.Earthing == board.TT && rcd != nil {
		ohm, source, err := RCDZsMax(rcd.Rated)
		return MaxZs{ohm, ohm, source}, err
	}
	lim, _, source, err := ZsLimit(b, w)
	if err != nil {
		return MaxZs{}, err
	}
	return MaxZs{lim.Low, lim.Low * Value("cold_share"), source}, nil
}
