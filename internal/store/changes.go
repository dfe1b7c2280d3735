package store

import "sync"

// changes tells followers that something was written. Several changes may be told
// as one.
type changes struct {
	mu        sync.Mutex
	followers []chan struct{}
}

func (c *changes) follow() <-chan struct{} {
	c.mu.Lock()
	defer c.mu.Unlock()
	ch := make(chan struct{}, 1)
	c.followers = append(c.followers, ch)
	return ch
}

func (c *changes) tell() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, ch := range c.followers {
		select {
		case ch <- struct{}{}:
		default: // it has not taken up the last one yet
		}
	}
}
