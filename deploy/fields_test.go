package deploy_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// fields are the names of fields that the manifests use, as the API reference of
// Kubernetes gives them (from memory). A server would take a misspelt one and leave
// the probe or the bound that it stands for out.
const fields = `accessModes allowPrivilegeEscalation annotations apiVersion appProtocol args
automountServiceAccountToken averageUtilization behavior capabilities claimName clusterIP configMap containerPort
containers cpu data defaultMode drop egress enableServiceLinks env failureThreshold from fsGroup grpc httpGet image
ingress kind labelSelector labels lifecycle limits livenessProbe matchLabels maxReplicas maxSkew maxSurge maxUnavailable
memory metadata metrics minReadySeconds minReplicas mountPath name namespace namespaceSelector path periodSeconds
persistentVolumeClaim podSelector policies policyTypes port ports preStop protocol readOnly readOnlyRootFilesystem
readinessProbe replicas requests resource resources revisionHistoryLimit rollingUpdate runAsGroup runAsNonRoot
runAsUser scaleDown scaleTargetRef scaleUp scheme seccompProfile seconds secret secretKeyRef secretName
securityContext selector serviceAccountName sleep spec stabilizationWindowSeconds startupProbe storage strategy
target targetPort template terminationGracePeriodSeconds timeoutSeconds to topologyKey topologySpreadConstraints type
unhealthyPodEvictionPolicy value valueFrom volumeMounts volumes whenUnsatisfiable key minAvailable
service httpHeaders volumeMode storageClassName volumeName subPath items optional emptyDir medium sizeLimit`

// free are the fields whose keys are the writer's own.
var free = []string{"labels", "annotations", "matchLabels", "data", "limits", "requests", "selector"}

// TestEveryFieldIsOneOfTheAPI reads every rendered object down to its last key.
func TestEveryFieldIsOneOfTheAPI(t *testing.T) {
	known := strings.Fields(fields)
	for _, overlay := range []string{"sqlite", "postgres"} {
		for name, object := range rendered(t, overlay) {
			for _, way := range unknownFields(object, "", known) {
				t.Errorf("%s, %s: no field of the API is called %s", overlay, name, way)
			}
		}
	}
	wrong := map[string]any{"spec": map[string]any{"containers": []any{map[string]any{"readinesProbe": 1}}, "labels": map[string]any{"anything": 1}}}
	if got := unknownFields(wrong, "", known); !slices.Equal(got, []string{"spec.containers.readinesProbe"}) {
		t.Errorf("the check finds %q", got)
	}
}

// unknownFields lists the ways to keys that are none of known.
func unknownFields(value any, above string, known []string) (found []string) {
	switch v := value.(type) {
	case []any:
		for _, inner := range v {
			found = append(found, unknownFields(inner, above, known)...)
		}
	case map[string]any:
		for key, inner := range v {
			way := strings.TrimPrefix(above+"."+key, ".")
			if !slices.Contains(known, key) {
				found = append(found, way)
			}
			// A selector of a service holds labels, one of a deployment matchLabels.
			labelled := key == "selector" && strings.Contains(fmt.Sprint(inner), "matchLabels")
			if slices.Contains(free, key) && !labelled {
				continue
			}
			found = append(found, unknownFields(inner, way, known)...)
		}
		slices.Sort(found)
	}
	return found
}
