package gather

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Rows of a sweep that are not whole.
var (
	ErrRowsCut     = errors.New("the rows broke off before their end: read them again")
	ErrRowsDamaged = errors.New("the rows came damaged: read them again")
)

// Rows reads rows of a sweep, writes them to w as they come and holds them against
// their sum. What was written counts only where the error is nil. tell is told
// after each piece how many bytes were written, and may be nil. Errors are those of
// the call, of w, [ErrRowsCut] or [ErrRowsDamaged].
func Rows(ctx context.Context, to *client.Client, request *bowrollv1.ReadSweepRequest, w io.Writer, tell func(bytes int64)) (*bowrollv1.SweepFileSummary, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel() // a stream that is left before its end
	stream, err := to.Sweeps.ReadSweep(ctx, request)
	if err != nil {
		return nil, err
	}
	sum, read := sha256.New(), int64(0)
	out := io.MultiWriter(w, sum)
	for {
		piece, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil, ErrRowsCut
		case err != nil:
			return nil, err
		}
		if summary := piece.GetSummary(); summary != nil {
			if got := hex.EncodeToString(sum.Sum(nil)); got != summary.GetSha256() {
				return nil, fmt.Errorf("%w (their sum is %s, the service names %s)", ErrRowsDamaged, got, summary.GetSha256())
			}
			return summary, nil
		}
		n, err := out.Write(piece.GetContent())
		read += int64(n)
		if err != nil {
			return nil, err
		}
		if tell != nil {
			tell(read)
		}
	}
}
