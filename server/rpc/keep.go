package rpc

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/catalog"
	"bowroll/server/page"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// keeper is what the services that keep something have in common: the store,
// the catalog that they refer to, and the clock of the site.
type keeper struct {
	store    store.Store
	snapshot *catalog.Snapshot
	now      func() time.Time
}

// mutation is a request that changes something.
type mutation interface {
	proto.Message
	GetActor() string
	GetRequestId() string
}

// errChecked ends a change that was only to be checked.
var errChecked = errors.New("checked, not written")

// keep runs a change to the ledger of a site and returns its answer; the same
// request sent again gets the first answer. Where dry is true everything is
// checked and nothing is written.
func keep[A proto.Message](ctx context.Context, k *keeper, site, method string, r mutation, dry bool, answer A, change func(ctx context.Context, book *ledger.Book) (A, error)) (A, error) {
	actor, err := actorOf(ctx, r.GetActor())
	if err != nil {
		return answer, refused(err)
	}
	now := k.now()
	request := store.Request{ID: r.GetRequestId(), Method: method, Hash: hashOf(r), Time: now}
	if dry {
		request.ID = ""
	}
	result, _, err := k.store.Update(ctx, site, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: actor, Time: now, Request: r.GetRequestId()})
		if err != nil {
			return nil, err
		}
		made, err := change(ctx, book)
		if err != nil {
			return nil, err
		}
		if err := book.Close(ctx); err != nil {
			return nil, err
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(made)
		if err == nil && dry {
			proto.Merge(answer, made)
			return nil, errChecked
		}
		return b, err
	})
	if errors.Is(err, errChecked) {
		return answer, nil
	}
	if err != nil {
		return answer, refused(err)
	}
	if err := proto.Unmarshal(result, answer); err != nil {
		return answer, fmt.Errorf("the answer kept for a request cannot be read: %w", err)
	}
	return answer, nil
}

// hashOf is the hash over the meaning of a request, its id left out: a retry
// may not differ in anything else.
func hashOf(r mutation) [sha256.Size]byte {
	bare := proto.Clone(r)
	fields := bare.ProtoReflect().Descriptor().Fields()
	bare.ProtoReflect().Clear(fields.ByName("request_id"))
	return sha256.Sum256(canonical.Append([]byte(bare.ProtoReflect().Descriptor().FullName()), bare))
}

// read runs a read on the data of a site.
func (k *keeper) read(ctx context.Context, site string, read func(ctx context.Context, r store.Reader) error) error {
	return refused(k.store.View(ctx, site, read))
}

// site returns the id in the name of a site of the catalog, or says that there
// is no such site.
func (k *keeper) site(field, name string) (string, error) {
	if _, ok := k.snapshot.Site(name); !ok {
		return "", unknownName(field, name, k.snapshot.SiteNames())
	}
	return strings.TrimPrefix(name, "sites/"), nil
}

// child splits "sites/{id}/{collection}/{id}" into its ids, and checks that the
// site is in the catalog.
func (k *keeper) child(field, name string) (site, id string, err error) {
	parts := strings.Split(name, "/")
	if len(parts) != 4 {
		return "", "", refusal.Invalid([]*bowrollv1.Violation{{Field: field, Value: name, Rule: "pattern", Allowed: "sites/{id}/…/{id}"}})
	}
	site, err = k.site(field, "sites/"+parts[1])
	return site, parts[3], err
}

// codesOf are the status codes of the classes of error; others are hidden.
var codesOf = map[store.Class]codes.Code{
	store.NotFound:    codes.NotFound,
	store.Exists:      codes.AlreadyExists,
	store.Refused:     codes.FailedPrecondition,
	store.Changed:     codes.Aborted,
	store.Reused:      codes.FailedPrecondition,
	store.Invalid:     codes.InvalidArgument,
	store.Unavailable: codes.Unavailable,
	store.Full:        codes.Unavailable,
	store.ReadOnly:    codes.Unavailable,
}

// refused turns an error of the store into the form in which the service says
// no; what it does not know stays as it is, to be hidden.
func refused(err error) error {
	var list store.Errors
	if !errors.As(err, &list) {
		var one *store.Error
		if !errors.As(err, &one) {
			return err
		}
		list = store.Errors{one}
	}
	first := list[0]
	code, ok := codesOf[first.Class]
	if !ok {
		return err
	}
	faults := make([]*bowrollv1.Violation, 0, min(len(list), refusal.MaxFaults))
	for _, fault := range list {
		if len(faults) < refusal.MaxFaults {
			faults = append(faults, &bowrollv1.Violation{
				Field: fault.Field, Rule: strings.ToLower(fault.Reason), Hint: fault.Text,
			})
		}
	}
	message := first.Text
	if len(list) > 1 {
		message = fmt.Sprintf("%s; and %d more", message, len(list)-1)
	}
	return refusal.Because(code, first.Reason, message, first.Details, faults)
}

// seek reads the page token of a list of a site.
func seek(list, filter string, size int32, token string, greatest int) (page.Request, string, int, error) {
	r := page.Request{Size: size, Token: token, Filter: list + "\n" + filter}
	after, n, err := page.Seek(r, greatest)
	if err != nil {
		err = badToken(token, err)
	}
	return r, after, n, err
}

// etag stands for the entry of the log that last changed something.
func etag(seq int64) string { return "e" + strconv.FormatInt(seq, 10) }

// etagSeq is the inverse of etag; 0 for none.
func etagSeq(tag string) int64 {
	seq, _ := strconv.ParseInt(strings.TrimPrefix(tag, "e"), 10, 64)
	return seq
}

// stamp turns an instant into a message; the zero instant is absent.
func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
