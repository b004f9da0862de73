package cli

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

const jobsFolder = "../../../chains/jobs"

// asked runs a shell command with a program drywire on the path that only writes down how it was
// called.
func asked(t *testing.T, env []string, name string, args ...string) string {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("job files are for a POSIX shell")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "drywire"), []byte("#!/bin/sh\nprintf '%s|' \"$@\"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	cmd.Env = append(append(os.Environ(), "PATH="+dir+":"+os.Getenv("PATH")), env...)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	// rank takes it.
	words := strings.Split(strings.TrimSuffix(string(out), "|"), "|")
	root := command(streams{}, nil)
	c, rest, err := root.Find(words)
	if err != nil || c.Name() != "rank" {
		t.Fatalf("%q is no call of rank (%v)", words, err)
	}
	if err := c.ParseFlags(rest); err != nil {
		t.Fatalf("%q: %v", words, err)
	}
	return string(out)
}

// A task of the array job asks for its share. .ci/rank-batch runs it for real.
func TestArrayJob(t *testing.T) {
	script, err := filepath.Abs(filepath.Join(jobsFolder, "rank-array.sh"))
	if err != nil {
		t.Fatal(err)
	}
	env := []string{"SLURM_ARRAY_TASK_ID=3", "SLURM_ARRAY_TASK_COUNT=8", "SLURM_CPUS_PER_TASK=2", "PARTS="}
	if got, want := asked(t, env, "sh", script, "my board.yaml", "out", "--seconds", "8"), "rank|my board.yaml|--part|3/8|--journal|out/part-3.journal|--seconds|8|"; got != want {
		t.Errorf("asks %s, want %s", got, want)
	}
	env[1], env[3] = "SLURM_ARRAY_TASK_COUNT=1", "PARTS=8" // one part again
	if got, want := asked(t, env, "sh", script, "b.yaml", "out"), "rank|b.yaml|--part|3/8|--journal|out/part-3.journal|"; got != want {
		t.Errorf("asks %s, want %s", got, want)
	}
}

// An index of the indexed job asks for its share, and there are as many indexes as parts.
func TestIndexedJob(t *testing.T) {
	src, err := os.ReadFile(filepath.Join(jobsFolder, "rank-indexed.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var job struct {
		APIVersion string `yaml:"apiVersion"`
		Kind       string
		Spec       struct {
			CompletionMode           string `yaml:"completionMode"`
			Completions, Parallelism int
			BackoffLimit             int `yaml:"backoffLimit"`
			Template                 struct {
				Spec struct {
					RestartPolicy string `yaml:"restartPolicy"`
					Containers    []struct {
						Command, Args []string
						Env           []struct{ Name, Value string }
					}
				}
			}
		}
	}
	if err := yaml.Unmarshal(src, &job); err != nil {
		t.Fatal(err)
	}
	s := job.Spec
	if job.APIVersion != "batch/v1" || job.Kind != "Job" || s.CompletionMode != "Indexed" || s.Template.Spec.RestartPolicy != "OnFailure" || s.BackoffLimit < s.Completions {
		t.Errorf("%+v", job)
	}
	c := s.Template.Spec.Containers[0]
	if s.Completions != 8 || s.Parallelism != 8 || len(c.Env) != 1 || c.Env[0].Name != "PARTS" || c.Env[0].Value != "8" {
		t.Errorf("%d completions, %d at one time, %v: want 8 in three places", s.Completions, s.Parallelism, c.Env)
	}
	for index, want := range map[string]string{
		"0": "rank|my-board.yaml|--part|1/8|--journal|journals/part-1.journal|",
		"7": "rank|my-board.yaml|--part|8/8|--journal|journals/part-8.journal|",
	} {
		if got := asked(t, []string{"JOB_COMPLETION_INDEX=" + index, "PARTS=" + c.Env[0].Value}, c.Command[0], append(c.Command[1:], c.Args...)...); got != want {
			t.Errorf("index %s asks %s, want %s", index, got, want)
		}
	}
}
