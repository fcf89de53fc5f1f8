package access

import (
	"strings"
	"testing"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata/mutate"
)

// Whatever a request calls its site, the site that its caller's grants are held
// against is the one that the name begins with, and no part of a name that is none.
func FuzzSiteOf(f *testing.F) {
	for _, name := range []string{"", "sites/varrow", "sites/varrow/lots/lot-71", "sites/varrow/../tollan", "sites//lots/a", "sites/Varrow/lots/a",
		"sites/*/lots/a", "sites/varrow\x00/lots/a", "lots/sites/varrow", "sites/varrow%2Flots"} {
		f.Add(name)
	}
	mutate.More(f)
	f.Fuzz(func(t *testing.T, name string) {
		site := siteOf(&bowrollv1.GetLotRequest{Name: name})
		if parent := siteOf(&bowrollv1.ListLotsRequest{Parent: name}); parent != site {
			t.Errorf("%q is of %q as a name and of %q as a parent", name, site, parent)
		}
		if site != "" && name != "sites/"+site && !strings.HasPrefix(name, "sites/"+site+"/") {
			t.Errorf("%q is taken for %q", name, site)
		}
		if site == EverySite || strings.ContainsAny(site, "/.:%") {
			t.Errorf("%q names the site %q", name, site)
		}
	})
}
