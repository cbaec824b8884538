package audit

import "echotally/internal/counted"

// byQuantity holds one thing for each measurand. Studies share their quantities, so that
// it is found without looking at the identifier; those of several reducers that have the
// same one share the thing.
type byQuantity[T any] struct {
	named map[string]*T // by identifier
	known map[*counted.Quantity]*T
}

func newByQuantity[T any]() *byQuantity[T] {
	return &byQuantity[T]{map[string]*T{}, map[*counted.Quantity]*T{}}
}

// of is that of a quantity; it is made from it when there is none.
func (b *byQuantity[T]) of(q *counted.Quantity, made func(*counted.Quantity) T) *T {
	one := b.known[q]
	if one == nil {
		if one = b.named[q.Measurand]; one == nil {
			is := made(q)
			one = &is
			b.named[q.Measurand] = one
		}
		b.known[q] = one
	}
	return one
}
