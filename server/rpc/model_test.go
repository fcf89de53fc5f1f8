package rpc

import (
	"bytes"
	"context"
	"math"
	"os"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/published"
	"bowroll/testdata"
)

func testModel(t testing.TB) *Model {
	t.Helper()
	file, err := testdata.Files.ReadFile("published/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := published.Read(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	return NewModel(testSnapshot(t), "1.2.3", rows, "")
}

func TestGetModel(t *testing.T) {
	info, err := testModel(t).GetModel(context.Background(), &bowrollv1.GetModelRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if info.GetProvenance().GetModelVersion() != perf.ModelVersion || info.GetProgramVersion() != "1.2.3" || info.GetNotice() == "" {
		t.Errorf("%v", info)
	}
	seen := map[string]bool{}
	for _, c := range info.GetConstants() {
		if c.GetId() == "" || seen[c.GetId()] || c.GetSource() == "" || c.GetValue() == 0 {
			t.Errorf("constant %v", c)
		}
		seen[c.GetId()] = true
	}
}

func TestModelCheckHolds(t *testing.T) {
	m := testModel(t)
	answer, err := m.Check(context.Background(), &bowrollv1.ModelCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if answer.GetFailsCount() != 0 || answer.GetHoldsCount() < 150 {
		t.Errorf("%d hold, %d fail", answer.GetHoldsCount(), answer.GetFailsCount())
	}
	for _, c := range answer.GetChecks() {
		if c.GetSource() == "" || c.GetObtained() == "" || c.GetUnit() == "" || c.GetVerdict() == bowrollv1.Verdict_VERDICT_UNSPECIFIED ||
			math.IsNaN(c.GetComputed()) || math.IsInf(c.GetComputed(), 0) {
			t.Errorf("%v", c)
		}
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := m.Check(cancelled, &bowrollv1.ModelCheckRequest{}); status.Code(err) != codes.Canceled {
		t.Errorf("after cancelling: %v", err)
	}
}

func vectorFile(t *testing.T) string {
	t.Helper()
	file, err := os.ReadFile("../../testdata/vectors/takeoff.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(file)
}

func TestCheckVectorsHolds(t *testing.T) {
	answer, err := testModel(t).CheckVectors(context.Background(), &bowrollv1.ModelCheckVectorsRequest{VectorsJson: vectorFile(t)})
	if err != nil {
		t.Fatal(err)
	}
	if !answer.GetHolds() || answer.GetCaseCount() != 60 || len(answer.GetDeviations()) < 10 {
		t.Errorf("%v", answer)
	}
	for i, d := range answer.GetDeviations() {
		if i > 0 && d.GetQuantity() <= answer.GetDeviations()[i-1].GetQuantity() {
			t.Errorf("%s is out of order", d.GetQuantity())
		}
		if d.GetCaseCount() < 1 || d.GetCaseId() == "" || d.LargestRelative == nil {
			t.Errorf("%v", d)
		}
	}
}

// One number moved by a part in 100 000, or an outcome turned round, is found.
func TestCheckVectorsFindsADeviation(t *testing.T) {
	m := testModel(t)
	file := vectorFile(t)
	const density = `"density": 1.3473283045962687`
	moved := strings.Replace(file, density, `"density": 1.34734`, 1)
	turned := strings.Replace(file, `"ok": true`, `"ok": false`, 1)
	if moved == file || turned == file {
		t.Fatal("the file no longer holds what this test changes")
	}
	answer, err := m.CheckVectors(context.Background(), &bowrollv1.ModelCheckVectorsRequest{VectorsJson: moved})
	if err != nil || answer.GetHolds() {
		t.Errorf("a moved number: %v, %v", answer.GetHolds(), err)
	}
	for _, d := range answer.GetDeviations() {
		if d.GetQuantity() == "density" && (d.GetCaseId() != "v001" || d.GetLargestRelative() < 1e-6 || d.GetVerdict() != bowrollv1.Verdict_VERDICT_FAILS) {
			t.Errorf("density: %v", d)
		}
	}
	answer, err = m.CheckVectors(context.Background(), &bowrollv1.ModelCheckVectorsRequest{VectorsJson: turned})
	if err != nil || answer.GetHolds() {
		t.Errorf("an outcome turned round: %v, %v", answer.GetHolds(), err)
	}
	for _, d := range answer.GetDeviations() {
		if d.GetQuantity() == "roll.ok" && (d.LargestRelative != nil || d.GetVerdict() != bowrollv1.Verdict_VERDICT_FAILS) {
			t.Errorf("roll.ok: %v", d)
		}
	}
}

func TestCheckVectorsRefuses(t *testing.T) {
	m := testModel(t)
	for name, try := range map[string]struct{ file, field string }{
		"no JSON":        {"{", "vectors_json"},
		"no list":        {"{}", "vectors_json"},
		"an empty list":  {"[]", "vectors_json"},
		"an unknown key": {`[{"id": "a", "case": {"headwnd_mps": 1}, "expect": {}}]`, "vectors_json"},
		"an empty case":  {`[{"id": "a", "case": {}, "expect": {}}]`, "vectors_json[0]"},
	} {
		_, err := m.CheckVectors(context.Background(), &bowrollv1.ModelCheckVectorsRequest{VectorsJson: try.file})
		vs := violationsOf(err)
		if status.Code(err) != codes.InvalidArgument || len(vs) != 1 || vs[0].GetField() != try.field || vs[0].GetHint() == "" {
			t.Errorf("%s: %v, %v", name, err, vs)
		}
	}
}
