package client

import (
	"encoding/json"
	"slices"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Every service of this client is either retried or left out on purpose: one
// that changes something must not be added without a request_id.
func TestRetriedServicesOnlyRead(t *testing.T) {
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
		bowrollv1.File_bowroll_v1_catalog_proto, bowrollv1.File_bowroll_v1_model_proto,
	}
	for _, file := range files {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			if !slices.Contains(retried, string(service.FullName())) {
				t.Errorf("%s is not retried", service.FullName())
			}
			for j := range service.Methods().Len() {
				if input := service.Methods().Get(j).Input(); input.Fields().ByName("request_id") != nil {
					t.Errorf("%s changes something: retry it only where its request_id is set", service.Methods().Get(j).FullName())
				}
			}
		}
	}
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
