package page

// Seek returns the key after which a list that is read by key goes on, "" for
// its beginning, and how many items to read: the size that was asked for, at
// most greatest. The error, if any, is one of the three of this package.
func Seek(r Request, greatest int) (after string, size int, err error) {
	size = int(r.Size)
	if size <= 0 {
		size = DefaultSize
	}
	if r.Token != "" {
		after, err = decode(r)
	}
	return after, min(size, greatest), err
}

// Next returns the token of the page after the item with this key.
func Next(r Request, last string) string { return encode(r, last) }
