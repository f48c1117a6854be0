package mem_test

import (
	"testing"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/mem"
	"dewcase/internal/testkit/storetest"
)

func TestStoreKeepsTheContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) roof.ReadingStore { return mem.New() })
}
