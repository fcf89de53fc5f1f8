package deploy_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/access"
	"bowroll/server/assembly"
	"bowroll/server/certs"
	"bowroll/server/certs/certstest"
	"bowroll/server/rpc"
	"bowroll/server/sweep"
)

// exported returns the labels of each metric that the service exports.
func exported(t *testing.T) map[string][]string {
	t.Helper()
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	dir := t.TempDir()
	certificate, key := filepath.Join(dir, "tls.crt"), filepath.Join(dir, "tls.key")
	certstest.Write(t, certstest.New(t, "a").Issue(t, certstest.Leaf{}), certificate, key)
	held, err := certs.Open(certs.Files{Certificate: certificate, Key: key})
	if err != nil {
		t.Fatal(err)
	}
	registry.MustRegister(held)
	guard, err := access.New(access.Config{Certificates: map[string][]string{"cn:a": {"reader@*"}}}, time.Now, registry)
	if err != nil {
		t.Fatal(err)
	}
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		Log: zap.NewNop(), NewID: assembly.NewID, Registry: registry, Certificates: held, Access: guard,
		StoreProbe: func(context.Context) error { return nil },
	}, folder)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	// Kept with the store, which this service has none of.
	if _, err := rpc.NewDriftWatch(registry); err != nil {
		t.Fatal(err)
	}

	registry.MustRegister(sweep.NewMetrics())

	descriptions := make(chan *prometheus.Desc)
	go func() {
		registry.Describe(descriptions)
		close(descriptions)
	}()
	found := map[string][]string{"up": nil} // Prometheus's own
	for d := range descriptions {
		text := d.String()
		name := regexp.MustCompile(`fqName: "([^"]+)"`).FindStringSubmatch(text)[1]
		labels := regexp.MustCompile(`variableLabels: \{([^}]*)\}`).FindStringSubmatch(text)[1]
		found[name] = strings.Split(labels, ",")
		for _, constant := range regexp.MustCompile(`constLabels: \{([^}]*)\}`).FindStringSubmatch(text)[1:] {
			for _, pair := range strings.Split(constant, ",") {
				label, _, _ := strings.Cut(pair, "=")
				found[name] = append(found[name], label)
			}
		}
	}
	return found
}

var (
	quoted    = regexp.MustCompile(`"[^"]*"`)
	metric    = regexp.MustCompile(`\b(?:bowroll|process|go)_[a-z0-9_]+\b|\bup\b`)
	selectors = regexp.MustCompile(`\b([a-z_0-9]+)\{([^}]*)\}`)
	grouped   = regexp.MustCompile(`\b(?:by|on) \(([^)]*)\)`)
)

// checkExpression holds the metrics of an expression and their labels against
// those there are.
func checkExpression(t *testing.T, where, expression string, have map[string][]string) {
	t.Helper()
	base := func(name string) string {
		for _, suffix := range []string{"_bucket", "_count", "_sum"} {
			if cut, found := strings.CutSuffix(name, suffix); found && have[cut] != nil {
				return cut
			}
		}
		return name
	}
	bare := quoted.ReplaceAllString(expression, `""`)
	// What the one who scrapes adds to every metric.
	labels := []string{"job", "instance", "pod", "le", ""}
	names := metric.FindAllString(bare, -1)
	if len(names) == 0 && !strings.Contains(bare, "bowroll:") {
		t.Errorf("%s asks for no metric: %s", where, expression)
	}
	for _, name := range names {
		known, there := have[base(name)]
		if !there {
			t.Errorf("%s: there is no metric %s", where, name)
		}
		labels = append(labels, known...)
	}
	for _, s := range selectors.FindAllStringSubmatch(bare, -1) {
		for _, part := range strings.Split(s[2], ",") {
			label := strings.TrimSpace(regexp.MustCompile(`[!=~].*`).ReplaceAllString(part, ""))
			if !slices.Contains(labels, label) {
				t.Errorf("%s: %s has no label %q", where, s[1], label)
			}
		}
	}
	for _, g := range grouped.FindAllStringSubmatch(bare, -1) {
		for _, label := range strings.Split(g[1], ",") {
			if !slices.Contains(labels, strings.TrimSpace(label)) {
				t.Errorf("%s: nothing has a label %q", where, label)
			}
		}
	}
}

func TestAlertsAskForMetricsThatExist(t *testing.T) {
	have := exported(t)
	recorded, names := map[string]bool{}, map[any]bool{}
	for _, rule := range at(documents(t, "prometheus/alerts.yaml")[0], "groups", 0, "rules").([]any) {
		expression := at(rule, "expr").(string)
		if name, ok := at(rule, "record").(string); ok {
			recorded[name] = true
			checkExpression(t, name, expression, have)
			continue
		}
		name := at(rule, "alert")
		if names[name] {
			t.Errorf("%v is given twice", name)
		}
		names[name] = true
		checkExpression(t, name.(string), expression, have)
		if severity := at(rule, "labels", "severity"); severity != "page" && severity != "ticket" {
			t.Errorf("%v has severity %v", name, severity)
		}
		if at(rule, "annotations", "summary") == nil {
			t.Errorf("%v does not say what it means", name)
		}
		for _, used := range regexp.MustCompile(`\bbowroll:[a-z0-9_:]+`).FindAllString(expression, -1) {
			if !recorded[used] {
				t.Errorf("%v uses %s, which no rule before it records", name, used)
			}
		}
	}
	if len(names) < 10 {
		t.Errorf("only %d alerts", len(names))
	}
}

func TestTheDashboardAsksForMetricsThatExistAndFitsItsGrid(t *testing.T) {
	text, err := os.ReadFile("dashboards/bowrolld.json")
	if err != nil {
		t.Fatal(err)
	}
	var dashboard struct {
		Panels []struct {
			ID      int
			Title   string
			GridPos struct{ X, Y, W, H int }
			Targets []struct{ Expr, LegendFormat string }
		}
	}
	if err := json.Unmarshal(text, &dashboard); err != nil {
		t.Fatal(err)
	}
	have := exported(t)
	taken, ids := map[[2]int]string{}, map[int]bool{}
	for _, p := range dashboard.Panels {
		if ids[p.ID] || p.Title == "" || len(p.Targets) == 0 {
			t.Errorf("panel %d %q has no id, title or target of its own", p.ID, p.Title)
		}
		ids[p.ID] = true
		for _, target := range p.Targets {
			checkExpression(t, p.Title, target.Expr, have)
		}
		for x := p.GridPos.X; x < p.GridPos.X+p.GridPos.W; x++ {
			for y := p.GridPos.Y; y < p.GridPos.Y+p.GridPos.H; y++ {
				if x >= 24 || taken[[2]int{x, y}] != "" {
					t.Fatalf("%q lies over %q or past the edge", p.Title, taken[[2]int{x, y}])
				}
				taken[[2]int{x, y}] = p.Title
			}
		}
	}
	if len(dashboard.Panels) < 12 {
		t.Errorf("only %d panels", len(dashboard.Panels))
	}
}

// TestTheCheckFindsWhatIsWrong feeds the check what does not exist.
func TestTheCheckFindsWhatIsWrong(t *testing.T) {
	have := exported(t)
	for _, wrong := range []string{
		"rate(bowroll_rpc_handeld_total[5m])", "sum by (methd) (bowroll_rpc_handled_total)", `bowroll_rpc_handled_total{cod="OK"}`, "1 + 1",
	} {
		probe := &testing.T{}
		checkExpression(probe, "probe", wrong, have)
		if !probe.Failed() {
			t.Errorf("%s passes", wrong)
		}
	}
}
