// Package cause says which cause of a wet roof the evidence supports, how
// strongly, and what would settle it.
package cause
