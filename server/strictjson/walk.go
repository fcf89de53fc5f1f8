package strictjson

// The methods here step over JSON that is known to be valid.

// space steps over white space.
func (d *decoder) space() {
	for d.at < len(d.text) {
		switch d.text[d.at] {
		case ' ', '\t', '\n', '\r':
			d.at++
		default:
			return
		}
	}
}

// object calls member for each member of an object with the reader at its
// value, which member must step over. It stops early once d is full.
func (d *decoder) object(member func(key string)) {
	d.at++ // {
	for d.space(); d.text[d.at] != '}'; d.space() {
		if d.text[d.at] == ',' {
			d.at++
			continue
		}
		key, _ := d.str()
		d.space()
		d.at++ // :
		d.space()
		member(key)
		if d.full() {
			d.at = len(d.text)
			return
		}
	}
	d.at++
}

// array calls element for each element of an array, as object does.
func (d *decoder) array(element func(i int)) {
	d.at++ // [
	i := 0
	for d.space(); d.text[d.at] != ']'; d.space() {
		if d.text[d.at] == ',' {
			d.at++
			continue
		}
		element(i)
		if d.full() {
			d.at = len(d.text)
			return
		}
		i++
	}
	d.at++
}

// raw steps over the value at the reader and returns its text.
func (d *decoder) raw() string {
	from := d.at
	d.skip()
	return string(d.text[from:d.at])
}

// skip steps over the value at the reader, however deep, without recursion.
func (d *decoder) skip() {
	depth := 0
	for {
		switch d.text[d.at] {
		case '{', '[':
			depth++
			d.at++
		case '}', ']':
			depth--
			d.at++
		case '"':
			d.skipString()
		case ',', ':', ' ', '\t', '\n', '\r':
			d.at++
			continue
		default:
			for d.at < len(d.text) && !delimits(d.text[d.at]) {
				d.at++
			}
		}
		if depth == 0 {
			return
		}
	}
}

func delimits(c byte) bool {
	switch c {
	case ',', ':', '}', ']', ' ', '\t', '\n', '\r':
		return true
	}
	return false
}

func (d *decoder) skipString() {
	for d.at++; d.text[d.at] != '"'; d.at++ {
		if d.text[d.at] == '\\' {
			d.at++
		}
	}
	d.at++
}
