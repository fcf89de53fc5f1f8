package postgres_test

import (
	"testing"

	"go.uber.org/goleak"
)

// Nothing is left running once the stores of the tests are closed.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
