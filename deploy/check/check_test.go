// Package check holds the files in deploy/ against those who will read them.
package check

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	appsv1 "k8s.io/api/apps/v1"
	batchv1 "k8s.io/api/batch/v1"
	corev1 "k8s.io/api/core/v1"
	networkingv1 "k8s.io/api/networking/v1"
	metav1 "k8s.io/apimachinery/pkg/apis/meta/v1"
	"k8s.io/apimachinery/pkg/labels"
	yamlutil "k8s.io/apimachinery/pkg/util/yaml"
	"sigs.k8s.io/yaml"
)

func TestTheComposeFileIsSound(t *testing.T) {
	options, err := cli.NewProjectOptions([]string{"../container/compose.yaml"}, cli.WithResolvedPaths(true))
	require.NoError(t, err)
	project, err := options.LoadProject(t.Context())
	require.NoError(t, err)
	assert.ElementsMatch(t, []string{"server", "worker"}, project.ServiceNames())
	for _, s := range project.Services {
		assert.True(t, s.ReadOnly, s.Name)
		assert.Equal(t, []string{"ALL"}, s.CapDrop, s.Name)
		_, err := os.Stat(filepath.Join(s.Build.Context, s.Build.Dockerfile))
		assert.NoError(t, err, s.Name)
	}
	assert.Equal(t, 2, *project.Services["worker"].Deploy.Replicas)
}

// cluster is what the manifests make.
type cluster struct {
	pods     map[string]corev1.PodTemplateSpec // by the name of what makes them
	claims   map[string]bool
	services []corev1.Service
	policies []networkingv1.NetworkPolicy
}

func TestTheManifestsAreSound(t *testing.T) {
	c := read(t)
	require.Len(t, c.pods, 3)
	for name, pod := range c.pods {
		p := pod.Spec
		require.Len(t, p.Containers, 1, name)
		container := p.Containers[0]
		assert.False(t, *p.AutomountServiceAccountToken, name)
		restricted(t, name, p)
		volumes := map[string]bool{}
		for _, v := range p.Volumes {
			volumes[v.Name] = true
			if v.PersistentVolumeClaim != nil {
				assert.True(t, c.claims[v.PersistentVolumeClaim.ClaimName], "%s: claim %s", name, v.PersistentVolumeClaim.ClaimName)
			}
		}
		for claim := range c.claims {
			volumes[claim] = true // those of a StatefulSet's templates are mounted by name
		}
		for _, mount := range container.VolumeMounts {
			assert.True(t, volumes[mount.Name], "%s: volume %s", name, mount.Name)
		}
		// The program is told of its memory, and has some besides.
		assert.True(t, container.Resources.Limits.Memory().Value() >= 1<<30, name)
		for _, arg := range container.Args {
			if path, ok := strings.CutPrefix(arg, "--cache="); ok {
				assert.True(t, slices.ContainsFunc(container.VolumeMounts, func(m corev1.VolumeMount) bool { return m.MountPath == path }), name)
			}
		}
	}
	for _, s := range c.services {
		var behind []string
		for name, pod := range c.pods {
			if labels.SelectorFromSet(s.Spec.Selector).Matches(labels.Set(pod.Labels)) {
				behind = append(behind, name)
				for _, p := range s.Spec.Ports {
					assert.True(t, hasPort(pod, p.TargetPort.String()), "service %s: port %s", s.Name, p.TargetPort.String())
				}
			}
		}
		assert.Equal(t, []string{s.Name}, behind)
	}
	selects := map[string][]string{}
	for _, policy := range c.policies {
		selector, err := metav1.LabelSelectorAsSelector(&policy.Spec.PodSelector)
		require.NoError(t, err)
		for name, pod := range c.pods {
			if selector.Matches(labels.Set(pod.Labels)) {
				selects[policy.Name] = append(selects[policy.Name], name)
			}
		}
		slices.Sort(selects[policy.Name])
	}
	assert.Equal(t, map[string][]string{
		"nothing-else": {"backup", "server", "worker"}, "server": {"server"}, "callers": {"backup", "worker"},
	}, selects)
}

// restricted holds a pod against the Pod Security Standard of that name, which the
// namespace enforces.
func restricted(t *testing.T, name string, p corev1.PodSpec) {
	assert.True(t, *p.SecurityContext.RunAsNonRoot, name)
	assert.Equal(t, corev1.SeccompProfileTypeRuntimeDefault, p.SecurityContext.SeccompProfile.Type, name)
	for _, c := range p.Containers {
		assert.False(t, *c.SecurityContext.AllowPrivilegeEscalation, name)
		assert.Equal(t, []corev1.Capability{"ALL"}, c.SecurityContext.Capabilities.Drop, name)
		assert.True(t, *c.SecurityContext.ReadOnlyRootFilesystem, name)
	}
}

func hasPort(pod corev1.PodTemplateSpec, name string) bool {
	return slices.ContainsFunc(pod.Spec.Containers[0].Ports, func(p corev1.ContainerPort) bool { return p.Name == name })
}

// read decodes all manifests. A field that the API does not know is an error.
func read(t *testing.T) cluster {
	c := cluster{pods: map[string]corev1.PodTemplateSpec{}, claims: map[string]bool{}}
	var kustomization struct{ Resources []string }
	text, err := os.ReadFile("../kubernetes/kustomization.yaml")
	require.NoError(t, err)
	require.NoError(t, yaml.Unmarshal(text, &kustomization))
	files, err := filepath.Glob("../kubernetes/*.yaml")
	require.NoError(t, err)
	require.Len(t, kustomization.Resources, len(files)-1, "every file but the kustomization is one of its resources")
	for _, file := range kustomization.Resources {
		text, err := os.ReadFile(filepath.Join("../kubernetes", file))
		require.NoError(t, err)
		documents := yamlutil.NewDocumentDecoder(io.NopCloser(bytes.NewReader(text)))
		for {
			buffer := make([]byte, 64<<10)
			n, err := documents.Read(buffer)
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
			c.add(t, file, buffer[:n])
		}
	}
	return c
}

func (c *cluster) add(t *testing.T, file string, document []byte) {
	var kind metav1.TypeMeta
	require.NoError(t, yaml.Unmarshal(document, &kind), file)
	strictly := func(into any) { require.NoError(t, yaml.UnmarshalStrict(document, into), "%s: %s", file, kind.Kind) }
	switch kind.APIVersion + " " + kind.Kind {
	case "v1 Namespace":
		strictly(&corev1.Namespace{})
	case "v1 Service":
		var s corev1.Service
		strictly(&s)
		c.services = append(c.services, s)
	case "v1 PersistentVolumeClaim":
		var p corev1.PersistentVolumeClaim
		strictly(&p)
		c.claims[p.Name] = true
	case "apps/v1 StatefulSet":
		var s appsv1.StatefulSet
		strictly(&s)
		assert.EqualValues(t, 1, *s.Spec.Replicas, "the data directory has one owner")
		for _, claim := range s.Spec.VolumeClaimTemplates {
			c.claims[claim.Name] = true
		}
		c.pod(t, s.Name, s.Spec.Selector, s.Spec.Template)
	case "apps/v1 Deployment":
		var d appsv1.Deployment
		strictly(&d)
		c.pod(t, d.Name, d.Spec.Selector, d.Spec.Template)
	case "batch/v1 CronJob":
		var j batchv1.CronJob
		strictly(&j)
		c.pods[j.Name] = j.Spec.JobTemplate.Spec.Template
	case "networking.k8s.io/v1 NetworkPolicy":
		var p networkingv1.NetworkPolicy
		strictly(&p)
		c.policies = append(c.policies, p)
	default:
		assert.Fail(t, "no type is known for it", "%s: %+v", file, kind)
	}
}

// pod keeps the pods of a set, whose selector has to find them.
func (c *cluster) pod(t *testing.T, name string, by *metav1.LabelSelector, pod corev1.PodTemplateSpec) {
	selector, err := metav1.LabelSelectorAsSelector(by)
	require.NoError(t, err)
	assert.True(t, selector.Matches(labels.Set(pod.Labels)), name)
	c.pods[name] = pod
}
