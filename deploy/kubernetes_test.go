package deploy_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"go.yaml.in/yaml/v3"
)

// rendered returns the objects that kubectl makes of an overlay, by kind and
// name. Without kubectl it skips.
func rendered(t *testing.T, overlay string) map[string]node {
	t.Helper()
	kubectl, err := exec.LookPath("kubectl")
	if err != nil {
		t.Skip("no kubectl to render the manifests with; the other tests read them as they are")
	}
	text, err := exec.Command(kubectl, "kustomize", filepath.Join("kubernetes", overlay)).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	objects := map[string]node{}
	for decoder := yaml.NewDecoder(bytes.NewReader(text)); ; {
		var d node
		err := decoder.Decode(&d)
		if errors.Is(err, io.EOF) {
			return objects
		}
		if err != nil {
			t.Fatal(err)
		}
		objects[at(d, "kind").(string)+" "+at(d, "metadata", "name").(string)] = d
	}
}

func TestOverlaysNameFilesThatExist(t *testing.T) {
	for _, overlay := range []string{"base", "sqlite", "postgres"} {
		dir := filepath.Join("kubernetes", overlay)
		k := documents(t, filepath.Join(dir, "kustomization.yaml"))[0]
		var names []any
		if list, ok := at(k, "resources").([]any); ok {
			names = append(names, list...)
		}
		if list, ok := at(k, "configMapGenerator", 0, "files").([]any); ok {
			names = append(names, list...)
		}
		if list, ok := at(k, "patches").([]any); ok {
			for _, p := range list {
				names = append(names, at(p, "path"))
			}
		}
		if len(names) < 2 {
			t.Errorf("%s names %v", overlay, names)
		}
		for _, name := range names {
			if _, err := os.Stat(filepath.Join(dir, name.(string))); err != nil {
				t.Error(err)
			}
		}
	}
}

func TestThePodIsConfinedBoundedAndProbed(t *testing.T) {
	d := documents(t, "kubernetes/base/deployment.yaml")[0]
	pod := at(d, "spec", "template", "spec")
	container := at(pod, "containers", 0)
	for _, c := range []struct {
		got, want any
		what      string
	}{
		{at(pod, "securityContext", "runAsNonRoot"), true, "runAsNonRoot"},
		{at(pod, "securityContext", "seccompProfile", "type"), "RuntimeDefault", "seccomp"},
		{at(pod, "automountServiceAccountToken"), false, "token of the cluster"},
		{at(container, "securityContext", "readOnlyRootFilesystem"), true, "readOnlyRootFilesystem"},
		{at(container, "securityContext", "allowPrivilegeEscalation"), false, "allowPrivilegeEscalation"},
		{at(container, "securityContext", "capabilities", "drop", 0), "ALL", "capabilities"},
		{at(container, "readinessProbe", "httpGet", "path"), "/readyz", "readiness"},
		{at(container, "livenessProbe", "httpGet", "path"), "/healthz", "liveness"},
		{at(container, "startupProbe", "httpGet", "path"), "/healthz", "startup"},
	} {
		if c.got != c.want {
			t.Errorf("%s is %v, want %v", c.what, c.got, c.want)
		}
	}
	for _, way := range [][]any{{"requests", "cpu"}, {"requests", "memory"}, {"limits", "memory"}} {
		if at(container, append([]any{"resources"}, way...)...) == nil {
			t.Errorf("no %v", way)
		}
	}
	ports := map[any]bool{}
	for _, p := range at(container, "ports").([]any) {
		ports[at(p, "name")] = true
	}
	for _, probe := range []string{"startupProbe", "livenessProbe", "readinessProbe"} {
		if !ports[at(container, probe, "httpGet", "port")] {
			t.Errorf("%s asks a port that there is not", probe)
		}
	}
	for _, service := range documents(t, "kubernetes/base/services.yaml") {
		for _, p := range at(service, "spec", "ports").([]any) {
			if !ports[at(p, "targetPort")] {
				t.Errorf("%v leads to a port that there is not", at(service, "metadata", "name"))
			}
		}
	}
	// What the pod is given to end must hold the pause and the grace.
	settings := documents(t, "kubernetes/base/bowrolld.yaml")[0]
	pause, grace := at(container, "lifecycle", "preStop", "sleep", "seconds").(int), at(settings, "grace").(string)
	if total := at(pod, "terminationGracePeriodSeconds").(int); grace != "15s" || total < pause+15+5 {
		t.Errorf("%d s to end, with a pause of %d s and a grace of %s", total, pause, grace)
	}
}

func TestOverlaysRenderWhole(t *testing.T) {
	for overlay, want := range map[string][]string{
		"sqlite":   {"PersistentVolumeClaim bowrolld-store"},
		"postgres": {"HorizontalPodAutoscaler bowrolld", "NetworkPolicy bowrolld-database"},
	} {
		t.Run(overlay, func(t *testing.T) {
			objects := rendered(t, overlay)
			for _, name := range append(want, "Namespace bowroll", "ServiceAccount bowrolld", "Deployment bowrolld",
				"Service bowrolld", "Service bowrolld-grpc", "PodDisruptionBudget bowrolld", "NetworkPolicy bowrolld") {
				if objects[name] == nil {
					t.Errorf("no %s", name)
				}
			}
			deployment := objects["Deployment bowrolld"]
			pods := at(deployment, "spec", "template", "metadata", "labels").(node)
			for name, way := range map[string][]any{
				"Deployment bowrolld":          {"spec", "selector", "matchLabels"},
				"Service bowrolld":             {"spec", "selector"},
				"Service bowrolld-grpc":        {"spec", "selector"},
				"PodDisruptionBudget bowrolld": {"spec", "selector", "matchLabels"},
				"NetworkPolicy bowrolld":       {"spec", "podSelector", "matchLabels"},
			} {
				selector, _ := at(objects[name], way...).(node)
				if len(selector) == 0 {
					t.Errorf("%s selects everything", name)
				}
				for key, value := range selector {
					if pods[key] != value {
						t.Errorf("%s selects %s=%v, which no pod has", name, key, value)
					}
				}
			}
			mounted := map[any]bool{}
			container := at(deployment, "spec", "template", "spec", "containers", 0)
			for _, m := range at(container, "volumeMounts").([]any) {
				mounted[at(m, "name")] = true
			}
			for _, v := range at(deployment, "spec", "template", "spec", "volumes").([]any) {
				if !mounted[at(v, "name")] {
					t.Errorf("volume %v is not mounted", at(v, "name"))
				}
				delete(mounted, at(v, "name"))
			}
			if len(mounted) != 0 {
				t.Errorf("mounted but no volume: %v", mounted)
			}
		})
	}
}
