package board

import (
	"net/http"
	"strings"
	"time"

	"bowroll/client/gather"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// rowForms are the forms that rows are given in, by the ending of the file.
var rowForms = map[string]struct {
	format bowrollv1.SweepFormat
	media  string
}{
	"csv":     {bowrollv1.SweepFormat_SWEEP_FORMAT_CSV, "text/csv; charset=utf-8"},
	"ndjson":  {bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON, "application/x-ndjson"},
	"parquet": {bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET, "application/vnd.apache.parquet"},
}

// sweepRows gives the rows of a sweep as a file, as they come.
func (b *board) sweepRows(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("sweep")
	ending, _ := strings.CutPrefix(r.PathValue("file"), "rows.")
	form, known := rowForms[ending]
	if !known {
		return &problem{Code: http.StatusNotFound, Title: "There is no such file", Text: "Rows are given as rows.csv, rows.ndjson or rows.parquet."}
	}
	control := http.NewResponseController(w)
	// The limits on a request as a whole are too short for a long file. Where a
	// connection has no deadlines, the service's own on reading holds.
	_ = control.SetReadDeadline(time.Time{})
	out := &download{w: w, control: control, media: form.media, name: id + "." + ending}
	_, err := gather.Rows(v.context(r.Context()), b.to, &bowrollv1.ReadSweepRequest{Name: "sites/" + site + "/sweeps/" + id, Format: form.format}, out, nil)
	switch {
	case err == nil:
		return nil
	case out.begun:
		// A file that broke off must not pass for whole: the connection breaks, which
		// a browser takes for what it is.
		panic(http.ErrAbortHandler)
	}
	return at(err, "/sweeps/"+site+"/"+id, "Back to the sweep")
}

// longestPiece is how long a browser may take over one piece of a file.
const longestPiece = 30 * time.Second

// download is a file that is given as it comes. It begins with its first piece, so
// that what is refused before is still said in a page.
type download struct {
	w           http.ResponseWriter
	control     *http.ResponseController
	media, name string
	begun       bool
}

// Write writes a piece.
func (d *download) Write(piece []byte) (int, error) {
	if !d.begun {
		d.begun = true
		d.w.Header().Set("Content-Type", d.media)
		d.w.Header().Set("Content-Disposition", `attachment; filename="`+d.name+`"`)
	}
	_ = d.control.SetWriteDeadline(time.Now().Add(longestPiece))
	return d.w.Write(piece)
}
