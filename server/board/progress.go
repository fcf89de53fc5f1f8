package board

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// beat is how often a page is told how far its plan is even where nothing
// changed: a page that hears nothing for several beats knows that the connection
// is lost.
const beat = 2 * time.Second

// progress is how far a plan is, in words and numbers.
type progress struct {
	Text  string `json:"text"`
	Done  int    `json:"done"`
	Total int    `json:"total"` // 0 where it is not known
	Ended bool   `json:"ended"`
}

func progressOf(j *job, s state) progress {
	p := progress{Text: "waiting for the service", Ended: s.ended}
	at := s.at
	switch at.GetStage() {
	case bowrollv1.PlanStage_PLAN_STAGE_FITS:
		p.Text = fmt.Sprintf("fit %d of %d", at.GetDoneCount(), at.GetTotalCount())
	case bowrollv1.PlanStage_PLAN_STAGE_ALLOCATION:
		p.Text = fmt.Sprintf("allocating, %s, %d nodes", strings.ReplaceAll(at.GetLevel(), "_", " "), at.GetNodeCount())
		if at.BestPriority != nil && at.Bound != nil {
			p.Text += fmt.Sprintf(", priority %d of at most %.0f", at.GetBestPriority(), at.GetBound())
		}
	case bowrollv1.PlanStage_PLAN_STAGE_ANSWER:
		p.Text = "working out the launches"
	}
	p.Done, p.Total = int(at.GetDoneCount()), int(at.GetTotalCount())
	if s.ended {
		p.Text = "done"
	}
	return p
}

// progress tells a page how far its plan is, as server-sent events, until it
// ends.
func (b *board) progress(w http.ResponseWriter, r *http.Request, v *visitor) error {
	j, err := b.mine(r, v)
	if err != nil {
		return err
	}
	control := http.NewResponseController(w)
	// The limits on a request as a whole are too short for a plan. Where a
	// connection has no deadlines, the plan's own holds.
	_ = control.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream")
	ticker := time.NewTicker(beat)
	defer ticker.Stop()
	for {
		at := j.state()
		text, err := json.Marshal(progressOf(j, at))
		if err != nil {
			return err
		}
		_ = control.SetWriteDeadline(time.Now().Add(5 * beat))
		if _, err := fmt.Fprintf(w, "data: %s\n\n", text); err != nil || control.Flush() != nil || at.ended {
			return nil // a page that was closed is not an error of ours
		}
		select {
		case <-at.changed:
			// Not every step is worth a message.
			select {
			case <-time.After(100 * time.Millisecond):
			case <-r.Context().Done():
			}
		case <-ticker.C:
		case <-r.Context().Done():
			return nil
		}
	}
}
