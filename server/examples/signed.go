package examples

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"

	"google.golang.org/protobuf/encoding/protojson"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
)

// SiteKey is the key that sites/varrow signs its log with in the worked calls. A
// service that answers them is told its public half; no other knows it.
func SiteKey() ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
}

// Sign adds the site's signature to a request of Stock.MergeMovements, whose hashes
// depend on the day and which no file can hold; it leaves other requests alone.
func (c Call) Sign(request map[string]any) error {
	if c.Method != "Stock.MergeMovements" {
		return nil
	}
	text, err := json.Marshal(request)
	if err != nil {
		return err
	}
	var r bowrollv1.MergeMovementsRequest
	if err := protojson.Unmarshal(text, &r); err != nil {
		return err
	}
	part := r.GetMovements()
	if len(part) == 0 {
		return nil // the service says what is wrong with it
	}
	first, last := part[0], part[len(part)-1]
	request["signature"] = base64.StdEncoding.EncodeToString(ed25519.Sign(SiteKey(),
		logpart.Text("varrow", first.GetSequence(), first.GetPreviousHash(), last.GetSequence(), last.GetHash())))
	return nil
}
