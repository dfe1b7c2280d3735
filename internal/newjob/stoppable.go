package newjob

import (
	"context"
	"io"
)

// Stoppable is in, but ends with ctx: whoever waits for an answer that is being typed is
// not kept by it.
func Stoppable(ctx context.Context, in io.Reader) io.Reader { return stoppable{ctx, in} }

// stoppable is an input that ends with its context.
type stoppable struct {
	ctx context.Context
	in  io.Reader
}

func (s stoppable) Read(b []byte) (int, error) {
	type got struct {
		n   int
		err error
	}
	read := make(chan got, 1)
	own := make([]byte, len(b))
	go func() {
		n, err := s.in.Read(own)
		read <- got{n, err}
	}()
	select {
	case <-s.ctx.Done():
		return 0, s.ctx.Err()
	case g := <-read:
		return copy(b, own[:g.n]), g.err
	}
}
