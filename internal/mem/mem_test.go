package mem_test

import (
	"testing"

	"dewcase/internal/mem"
	"dewcase/internal/roof"
	"dewcase/internal/storetest"
)

func TestStoreKeepsTheContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) roof.ReadingStore { return mem.New() })
}
