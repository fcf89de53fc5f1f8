package client

import (
	"encoding/json"
	"slices"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Every service of this client is retried, and a repeat does nothing twice: a
// method only reads, or the contract asks for a request_id whenever it changes
// something.
func TestARetryDoesNothingTwice(t *testing.T) {
	var config struct {
		MethodConfig []struct{ Name []struct{ Service string } }
	}
	if err := json.Unmarshal([]byte(serviceConfig), &config); err != nil {
		t.Fatal(err)
	}
	var retried []string
	for _, n := range config.MethodConfig[0].Name {
		retried = append(retried, n.Service)
	}
	files := []protoreflect.FileDescriptor{
		bowrollv1.File_bowroll_v1_takeoff_proto, bowrollv1.File_bowroll_v1_wind_proto, bowrollv1.File_bowroll_v1_cycle_proto,
		bowrollv1.File_bowroll_v1_catalog_proto, bowrollv1.File_bowroll_v1_model_proto, bowrollv1.File_bowroll_v1_stock_proto,
		bowrollv1.File_bowroll_v1_plans_proto,
	}
	changing := 0
	for _, file := range files {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			if !slices.Contains(retried, string(service.FullName())) {
				t.Errorf("%s is not retried", service.FullName())
			}
			for j := range service.Methods().Len() {
				method := service.Methods().Get(j)
				id := method.Input().Fields().ByName("request_id")
				// Voiding cards asks for a request_id, looking at them does not.
				optional := method.Name() == "RecheckPlan"
				switch changes := method.Input().Fields().ByName("actor") != nil; {
				case changes && id == nil:
					t.Errorf("%s names who acts and has no request_id", method.FullName())
				case changes && !optional && !required(id):
					t.Errorf("%s can be called without a request_id", method.FullName())
				case changes:
					changing++
				}
			}
		}
	}
	if changing == 0 {
		t.Error("no method that changes something was found")
	}
}

// required reports whether the contract refuses an empty field.
func required(field protoreflect.FieldDescriptor) bool {
	behaviours, _ := proto.GetExtension(field.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(behaviours, annotations.FieldBehavior_REQUIRED)
}

func TestOnLoopback(t *testing.T) {
	for target, want := range map[string]bool{
		"127.0.0.1:8471": true, "localhost:8471": true, "[::1]:8471": true, "127.8.8.8:1": true,
		"10.0.0.1:8471": false, "varrow.example:8471": false, "localhost.example:8471": false, "": false, "passthrough:///x": false,
	} {
		if onLoopback(target) != want {
			t.Errorf("onLoopback(%q) is %v", target, !want)
		}
	}
}
