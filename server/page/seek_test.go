package page

import "testing"

func TestSeekGoesOnWhereNextSays(t *testing.T) {
	r := Request{Filter: "units", Size: 7}
	if after, size, err := Seek(r, 5); after != "" || size != 5 || err != nil {
		t.Errorf("%q %d %v", after, size, err)
	}
	r.Token, r.Size = Next(r, "u-0005"), 0
	if after, size, err := Seek(r, 1000); after != "u-0005" || size != DefaultSize || err != nil {
		t.Errorf("%q %d %v", after, size, err)
	}
	r.Filter = "lots"
	if _, _, err := Seek(r, 1000); err != ErrRequest {
		t.Errorf("another list's token: %v", err)
	}
}
