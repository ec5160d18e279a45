package scan

import (
	"math"
	"testing"
)

// Each worker holds memory: as many as somebody mistypes are not made.
func TestWorkersAreBounded(t *testing.T) {
	s := &scanner{o: Options{Workers: math.MaxInt32}}
	if w := s.workers(); w.hashers > mostWorkers || w.readers > mostWorkers {
		t.Errorf("%+v", w)
	}
}
