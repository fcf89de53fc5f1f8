package sheet

import (
	"io"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Recomputed says whether a kept plan comes out the same when computed anew.
func Recomputed(w io.Writer, style Style, name string, answer *bowrollv1.RecomputePlanResponse) error {
	p := newPage(style)
	p.heading("COMPUTED ANEW: "+clean(name), "model "+clean(answer.GetProvenance().GetModelVersion()))
	if answer.GetSame() {
		p.paragraph(toneGood, "The same, to the last byte.", 0)
	} else {
		p.paragraph(toneBad, "NOT THE SAME.", 0)
	}
	p.gap()
	p.labelled(tonePlain, "Kept", tonePlain, answer.GetKeptDigest()+", catalog "+answer.GetPinned().GetCatalogRevision(), labelColumns)
	p.labelled(tonePlain, "Now", tonePlain, answer.GetComputedDigest()+", catalog "+answer.GetProvenance().GetCatalogRevision(), labelColumns)
	if len(answer.GetDifferences()) > 0 {
		p.heading("WHERE THEY DIFFER", "")
		for _, path := range answer.GetDifferences() {
			p.paragraph(tonePlain, clean(path), 0)
		}
	}
	return p.write(w)
}
