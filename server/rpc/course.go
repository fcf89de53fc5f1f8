package rpc

import (
	"context"
	"errors"
	"strings"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/violation"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// FindCourse answers the courses and speeds on which every load may go.
func (w *WindLimits) FindCourse(ctx context.Context, req *bowrollv1.WindLimitsFindCourseRequest) (*bowrollv1.WindLimitsFindCourseResponse, error) {
	c, err := w.resolveCourse(ctx, req)
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.WindLimitsFindCourseResponse{Policy: c.policy, WindReading: c.reading, Held: c.held}
	for _, load := range c.loads {
		out.Loads = append(out.Loads, load.used)
	}
	out.Provenance = provenance(w.resolver.catalog, c.digested...)
	if c.reading.GetHold() > bowrollv1.WindHold_WIND_HOLD_NONE {
		out.Text = c.reading.GetText()
		return out, nil
	}
	if len(c.loads) == 0 {
		out.Text = "No sortie of the cycle launches: there is nothing to find a course for."
		out.Shortfall = new(bowrollv1.CourseShortfall)
		return out, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, status.FromContextError(err).Err()
	}
	barred := c.barred()
	if len(barred) == len(c.loads) {
		out.Shortfall = &bowrollv1.CourseShortfall{NoWindFor: barred}
		out.Text = "No wind does for any load."
		return out, nil
	}
	found, err := wind.FindCourse(c.query)
	if err != nil {
		return nil, refusal.Invalid(courseFaults(err))
	}
	if len(barred) > 0 {
		// What is found is for the others: it must not be taken for a course on
		// which all may go.
		out.Shortfall = &bowrollv1.CourseShortfall{NoWindFor: barred, ForTheOthers: courseOption(found.Recommended)}
		out.Text = "No wind does for " + strings.Join(barred, ", ") + "."
		return out, nil
	}
	fillCourse(out, found)
	out.Text = courseText(out)
	out.Cautions = c.cautions(found)
	return out, nil
}

// barred names the loads that no wind does for.
func (c *courseCase) barred() []string {
	var names []string
	for _, load := range c.loads {
		if load.used.GetState() == bowrollv1.LimitState_LIMIT_STATE_NONE {
			names = append(names, load.used.GetId())
		}
	}
	return names
}

// courseFields are the fields of the model's query as the contract calls them.
var courseFields = strings.NewReplacer(
	"ship.greatest_mps", "greatest_speed_mps", "ship.least_mps", "least_speed_mps", "ship.steerage_mps", "steerage_speed_mps",
	"ship.axis_offset_deg", "axis_offset_deg", "ship.turn_rate_deg_ps", "turn_rate_deg_s",
	"closed[", "sea_room[", "wind.", "natural_wind.", "step_deg", "course_step_deg",
)

// courseFaults puts what the model finds into the contract's words.
func courseFaults(err error) []*bowrollv1.Violation {
	var list violation.List
	if !errors.As(err, &list) {
		return refusal.FromModel("", err)
	}
	found := refusal.FromModel("", err)
	for _, v := range found {
		v.Field = strings.TrimPrefix(courseFields.Replace(v.GetField()), ".")
	}
	return found
}

// A courseCase is a request resolved.
type courseCase struct {
	query    wind.CourseQuery
	policy   *bowrollv1.Policy
	reading  *bowrollv1.WindReading
	loads    []*courseLoad
	held     []string
	digested []proto.Message
}

// A courseLoad is one load with its limits as used.
type courseLoad struct {
	used     *bowrollv1.CourseLoadUsed
	cautions []*bowrollv1.Caution
}

// cautions says what the numbers give cause to say.
func (c *courseCase) cautions(found *wind.CourseAnswer) []*bowrollv1.Caution {
	var list []*bowrollv1.Caution
	if c.query.Wind.Lull == nil {
		list = append(list, &bowrollv1.Caution{
			Id: "lull-not-known", Severity: bowrollv1.Severity_SEVERITY_CAUTION,
			Text: "No lull of the wind is given: the headwind holds for the mean alone.",
		})
	}
	if found.Recommended != nil {
		for _, m := range found.Recommended.Margins {
			if m.MarginMPS < closeMPS {
				list = append(list, &bowrollv1.Caution{
					Id: "little-in-hand", Severity: bowrollv1.Severity_SEVERITY_NOTE,
					Text: "The recommended course keeps a limit with nothing to spare: more speed or a larger change leaves more in hand.",
				})
				break
			}
		}
	}
	for _, load := range c.loads {
		for _, caution := range load.cautions {
			list = appendCautions(list, []*bowrollv1.Caution{caution})
		}
	}
	return list
}

// closeMPS is a margin that is as good as none.
const closeMPS = 0.25
