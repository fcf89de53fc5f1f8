package rpc

import (
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Nothing launches that is less likely than the policy asks, and every option
// says how likely it is.
func TestPlanKeepsToTheLeastProbability(t *testing.T) {
	c := testCycle()
	free := plan(t, c, 2)
	least := 1.0
	for _, l := range free.GetLaunches() {
		for _, o := range l.GetOptions() {
			if o.Probability == nil {
				t.Fatalf("%s: an option without its probability", l.GetSortie())
			}
			if o.GetChosen() {
				least = min(least, o.GetProbability())
			}
		}
	}
	if least >= 1 {
		t.Fatal("every launch is certain: the test tries nothing")
	}
	asked := testCycle()
	floor := least + (1-least)/2
	asked.Policy = &bowrollv1.Policy{LeastProbability: proto.Float64(floor)}
	for _, l := range plan(t, asked, 2).GetLaunches() {
		for _, o := range l.GetOptions() {
			// The plan judges by screening or by 10 000 draws, an option by 1 024.
			if o.GetChosen() && o.GetProbability() < floor-0.01 {
				t.Errorf("%s launches with probability %v, asked at least %v", l.GetSortie(), o.GetProbability(), floor)
			}
		}
	}
}
