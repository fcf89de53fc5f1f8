package server_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
	"bowroll/server/canonical"
	"bowroll/server/examples"
)

var writeIdentity = flag.Bool("write-identity", false, "print the digests of answers and end: what TestAnswersAreIdentical asks of other processes")

// computed are the methods whose answers depend on the request and the catalog
// alone.
var computed = []string{"Takeoffs.Compute", "Takeoffs.BatchCompute", "Takeoffs.Tabulate", "Takeoffs.Trace", "Takeoffs.FindFiring",
	"WindLimits.Compute", "WindLimits.FindCourse", "WindLimits.ReadWind", "Cycles.Plan", "Cycles.Tabulate", "Cycles.Compare", "Cycles.PlanFleet"}

// identity is a line for each request: what was asked, the digest that the answer
// gives of it, and the sum over the answer's canonical bytes.
func identity(t *testing.T, c *client.Client, h *harness) []string {
	t.Helper()
	var list []string
	askAll(t, c, h, func(name string, answer proto.Message) {
		list = append(list, fmt.Sprintf("%s %s %x", name, requestDigest(answer), sha256.Sum256(canonical.Append(nil, answer))))
	})
	return list
}

// requestDigest is what an answer says of its request, empty where it says
// nothing.
func requestDigest(answer proto.Message) string {
	m := answer.ProtoReflect()
	field := m.Descriptor().Fields().ByName("provenance")
	if field == nil || !m.Has(field) {
		return ""
	}
	return m.Get(field).Message().Interface().(*bowrollv1.Provenance).GetRequestDigest()
}

// askAll asks for the reference take-offs in batches, makes the worked calls of
// what is computed and notes each answer.
func askAll(t *testing.T, c *client.Client, h *harness, note func(name string, answer proto.Message)) {
	t.Helper()
	cases := vectorCases(t)
	for i := 0; i < len(cases); i += 20 {
		batch := &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases[i:min(i+20, len(cases))], Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES}}
		answer, err := c.Takeoffs.BatchCompute(context.Background(), batch)
		if err != nil {
			t.Fatal(err)
		}
		note(fmt.Sprintf("vectors-%d", i), answer)
	}
	askWorked(t, h, computed, note)
	calls, err := examples.All()
	if err != nil {
		t.Fatal(err)
	}
	tabulate := &bowrollv1.WindLimitsTabulateRequest{}
	for _, call := range calls {
		if call.Method == "WindLimits.Tabulate" {
			text, err := json.Marshal(call.Request)
			if err != nil {
				t.Fatal(err)
			}
			tabulate = into(t, string(text), tabulate)
		}
	}
	tabulated(t, c, tabulate, note)
}

// askWorked makes the worked calls of some methods.
func askWorked(t *testing.T, h *harness, methods []string, note func(name string, answer proto.Message)) {
	t.Helper()
	calls, err := examples.All()
	if err != nil {
		t.Fatal(err)
	}
	for i, call := range calls {
		if !slices.Contains(methods, call.Method) {
			continue
		}
		w := worked{Call: call, method: methodOf(t, call.Method)}
		answer, err := w.overGRPC(t, h, call.Request)
		if err != nil {
			t.Fatal(err)
		}
		note(fmt.Sprintf("%s-%d", call.Method, i), answer)
	}
}

// tabulated notes each row of a deck's table, in the order in which they come, and
// its summary. How far along the service says it is depends on the clock and is
// left out.
func tabulated(t *testing.T, c *client.Client, request *bowrollv1.WindLimitsTabulateRequest, note func(name string, answer proto.Message)) {
	t.Helper()
	stream, err := c.WindLimits.Tabulate(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	for row := 0; ; {
		part, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if part.GetProgress() == nil {
			note(fmt.Sprintf("row-%d", row), part)
			row++
		}
	}
}

// vectorCases are the reference take-offs as requests.
func vectorCases(t *testing.T) []*bowrollv1.TakeoffCase {
	t.Helper()
	text, err := os.ReadFile("../testdata/vectors/takeoff.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors []struct {
		ID   string
		Case map[string]any
	}
	if err := json.Unmarshal(text, &vectors); err != nil {
		t.Fatal(err)
	}
	modes := map[any]string{"rolling": "FIRING_MODE_ROLLING", "on_brakes": "FIRING_MODE_ON_BRAKES"}
	var list []*bowrollv1.TakeoffCase
	for _, v := range vectors {
		// Flap settings are a list in the contract, and enums have names of their own.
		flap := map[string]any{"id": "takeoff"}
		aircraft := v.Case["aircraft"].(map[string]any)
		for _, key := range []string{"cl_max", "cl_roll", "cd0"} {
			flap[key] = aircraft[key]
			delete(aircraft, key)
		}
		aircraft["flaps"] = []any{flap}
		v.Case["id"], v.Case["flap"], v.Case["available_m"], v.Case["surface"] = v.ID, "takeoff", 1000, v.Case["site"]
		delete(v.Case, "site")
		if boosters, ok := v.Case["boosters"].(map[string]any); ok {
			firing := boosters["firing"].(map[string]any)
			mode, ok := modes[firing["mode"]]
			if !ok {
				mode = "FIRING_MODE_UNLIT"
			}
			firing["mode"] = mode
		}
		made, err := json.Marshal(v.Case)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, into(t, string(made), &bowrollv1.TakeoffCase{}))
	}
	return list
}

// dawn is the cycle of the file that comes with the program.
func dawn(t *testing.T) *bowrollv1.Cycle {
	t.Helper()
	text, err := os.ReadFile("../testdata/cycles/dawn.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c, _, err := cycle.Read("dawn.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// inProcess is a client of a whole service in this process.
func inProcess(t *testing.T) (*client.Client, *harness) {
	t.Helper()
	c, err := client.InProcess(t.Context(), assembly.InProcess)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c, whole(t)
}

// The same requests have the same digest and the same answer to the byte: on one
// core and on many, in two other processes, in batches however split, over JSON
// and through the Go client.
func TestAnswersAreIdentical(t *testing.T) {
	c, h := inProcess(t)
	if *writeIdentity {
		fmt.Println(strings.Join(identity(t, c, h), "\n"))
		return
	}
	want := identity(t, c, h)
	same := func(how string, got []string) {
		t.Helper()
		if len(got) != len(want) {
			t.Fatalf("%s: %d answers where there were %d", how, len(got), len(want))
		}
		for i := range got {
			if got[i] != want[i] {
				t.Errorf("%s:\n%s\n%s", how, got[i], want[i])
			}
		}
	}
	// Each replica is a process of its own, with its own number of cores.
	for i, cores := range []string{"1", "2", "5"} {
		if testing.Short() && i > 0 {
			break
		}
		replica := exec.Command(os.Args[0], "-test.run=^TestAnswersAreIdentical$", "-write-identity")
		replica.Env = append(os.Environ(), "GOMAXPROCS="+cores)
		out, err := replica.Output()
		if err != nil {
			t.Fatal(err, string(out))
		}
		text, _, _ := strings.Cut(string(out), "\nPASS")
		same("a replica with "+cores+" cores", strings.Split(strings.TrimSpace(text), "\n"))
	}
	splitsAgree(t, c)
	formsAgree(t, c, h)
}

// splitsAgree holds batches of one, seven and all against each other.
func splitsAgree(t *testing.T, c *client.Client) {
	cases := vectorCases(t)
	answers := map[string][]byte{}
	for _, size := range []int{1, 7, len(cases)} {
		for i := 0; i < len(cases); i += size {
			got, err := c.Takeoffs.BatchCompute(context.Background(), &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases[i:min(i+size, len(cases))]})
			if err != nil {
				t.Fatal(err)
			}
			for _, item := range got.GetItems() {
				b := canonical.Append(nil, item.GetTakeoff())
				if first, ok := answers[item.GetId()]; ok && !bytes.Equal(first, b) {
					t.Errorf("%s is another in batches of %d", item.GetId(), size)
				}
				answers[item.GetId()] = b
			}
		}
	}
	for _, one := range cases[:10] {
		got, err := c.Takeoffs.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{Case: one})
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(answers[one.GetId()], canonical.Append(nil, got)) {
			t.Errorf("%s is another alone", one.GetId())
		}
	}
}

// formsAgree holds the Go client, JSON and the command line against each other.
func formsAgree(t *testing.T, c *client.Client, h *harness) {
	request := &bowrollv1.TakeoffsComputeRequest{Case: soundCase(t)}
	over, err := c.Takeoffs.Compute(context.Background(), request)
	if err != nil {
		t.Fatal(err)
	}
	got := h.post(t, "/v1/takeoffs:compute", `{"case":`+caseJSON+`}`)
	if web := into(t, got.text, &bowrollv1.Takeoff{}); !bytes.Equal(canonical.Append(nil, web), canonical.Append(nil, over)) ||
		web.GetProvenance().GetRequestDigest() != over.GetProvenance().GetRequestDigest() {
		t.Error("JSON gives another answer than the Go client")
	}
	if testing.Short() {
		return
	}
	// The command line reads a file of the cycle; the service is asked for what the
	// file says.
	program := filepath.Join(t.TempDir(), "bowroll")
	if out, err := exec.Command("go", "build", "-o", program, "bowroll/client/cmd/bowroll").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	plan := func(cores string) *bowrollv1.CyclePlan {
		t.Helper()
		command := exec.Command(program, "plan", "../testdata/cycles/dawn.yaml", "--format", "json")
		command.Env = append(os.Environ(), "GOMAXPROCS="+cores)
		out, err := command.Output()
		if err != nil {
			t.Fatal(err)
		}
		p := &bowrollv1.CyclePlan{}
		if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(out, p); err != nil {
			t.Fatal(err)
		}
		return p
	}
	one, more := plan("1"), plan("4")
	if one.GetProvenance().GetRequestDigest() == "" || !proto.Equal(one, more) || !bytes.Equal(canonical.Append(nil, one), canonical.Append(nil, more)) {
		t.Error("the command line gives another plan on more cores")
	}
	served, err := c.Cycles.Plan(context.Background(), &bowrollv1.CyclesPlanRequest{Cycle: dawn(t)})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(canonical.Append(nil, one), canonical.Append(nil, served)) || one.GetProvenance().GetRequestDigest() != served.GetProvenance().GetRequestDigest() {
		t.Errorf("the command line gives another plan than the Go client: %s %s", one.GetProvenance(), served.GetProvenance())
	}
}
