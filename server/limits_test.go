package server

import "testing"

// TestEveryMethodOfTheContractHasAClass fails when a method is added to the
// contract without saying what it may take.
func TestEveryMethodOfTheContractHasAClass(t *testing.T) {
	stated := classes(1)
	methods := 0
	for _, service := range Contract() {
		for i := range service.Methods().Len() {
			methods++
			full := "/" + string(service.FullName()) + "/" + string(service.Methods().Get(i).Name())
			if stated[full] == nil {
				t.Errorf("%s has no class", full)
			}
		}
	}
	if len(stated) != methods {
		t.Errorf("%d classes for %d methods", len(stated), methods)
	}
	for method, class := range stated {
		if class.Name == "" || class.Deadline <= 0 || class.InFlight < 1 || class.MaxBytes < 1 || class.Retry <= 0 {
			t.Errorf("%s: %+v", method, *class)
		}
	}
}
