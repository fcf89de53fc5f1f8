package rpc

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// cycleOf reads the cycle that a plan was made for.
func cycleOf(plan store.Plan) (*bowrollv1.Cycle, error) {
	cycle := &bowrollv1.Cycle{}
	if err := proto.Unmarshal(plan.Cycle, cycle); err != nil {
		return nil, fmt.Errorf("the cycle of plan %s cannot be read: %w", plan.ID, err)
	}
	return cycle, nil
}

// answerOf reads the answer that a plan keeps.
func answerOf(plan store.Plan) (*bowrollv1.CyclePlan, error) {
	answer := &bowrollv1.CyclePlan{}
	if err := proto.Unmarshal(plan.Answer, answer); err != nil {
		return nil, fmt.Errorf("the answer of plan %s cannot be read: %w", plan.ID, err)
	}
	return answer, nil
}

// launchOf is the launch of a sortie; nil where the answer launches it not.
func launchOf(answer *bowrollv1.CyclePlan, sortie string) *bowrollv1.PlannedLaunch {
	for _, launch := range answer.GetLaunches() {
		if launch.GetSortie() == sortie {
			return launch
		}
	}
	return nil
}
