package roof

// Workers runs n pieces of work, numbered from 0, of which none needs what another
// does, and returns when all are done: one after another, or side by side where
// there are processors for it. Which it is changes no answer.
type Workers func(n int, do func(i int))

// InTurn does one piece of work after another.
func InTurn(n int, do func(i int)) {
	for i := range n {
		do(i)
	}
}
