package sqlite

import "testing"

func TestInsertOf(t *testing.T) {
	if head, values, ok := insertOf("INSERT INTO t (a, b)\n\t\tVALUES ($1, $2)"); !ok || values != 2 || head != "INSERT INTO t (a, b)\n\t\t" {
		t.Errorf("%q %d %v", head, values, ok)
	}
	for _, text := range []string{
		`UPDATE t SET a = $1`,
		`INSERT INTO t (a) VALUES ($1, $2) ON CONFLICT (a) DO NOTHING`,
		`INSERT INTO t (a) SELECT a FROM o WHERE b = $1`,
	} {
		if _, _, ok := insertOf(text); ok {
			t.Errorf("%s counts row by row", text)
		}
	}
}
