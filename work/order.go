package work

import "sync"

// Order hands on pieces that are finished in any order in the order of their
// indices.
type Order[T any] struct {
	take    func(T) error
	mu      sync.Mutex
	next    int
	waiting map[int]T
	err     error
}

// InOrder makes an Order that hands its pieces to take, one at a time.
func InOrder[T any](take func(T) error) *Order[T] {
	return &Order[T]{take: take, waiting: map[int]T{}}
}

// Put gives piece i, of 0, 1, 2 … each exactly once. It goes to take as soon as all
// before it went; until then it waits in memory. Put may be called by several
// goroutines at once; it returns the error of take, after which no further piece is
// handed on.
func (o *Order[T]) Put(i int, piece T) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.waiting[i] = piece
	for o.err == nil {
		p, ready := o.waiting[o.next]
		if !ready {
			return nil
		}
		delete(o.waiting, o.next)
		o.next++
		o.err = o.take(p)
	}
	return o.err
}
