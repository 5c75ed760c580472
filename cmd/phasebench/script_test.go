package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) { testscript.Main(m, map[string]func(){"phasebench": main}) }

// The scripts in testdata/script hold a command line each with what is
// expected of it. Beside the usual commands they have
//
//	refuse CODE ARG...           phasebench ends with CODE, prints nothing on stdout, and no file appears or changes
//	keys KIND FILE [NULL...]     the JSON document in FILE has the keys of KIND; only NULL... are null,
//	                             and those of burning and knock where nothing burns or knocks
//	value FILE PATH LOW HIGH     the number at the dotted PATH is from LOW to HIGH; a dot in a key is a colon in PATH
//	picture FILE                 the picture can be read
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Condition: func(cond string) (bool, error) {
			if cond == "root" {
				return os.Geteuid() == 0, nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"refuse": refuse, "keys": keysCommand, "value": valueCommand, "picture": pictureCommand,
		},
	})
}

func noNeg(ts *testscript.TestScript, neg bool, ok bool, use string) {
	if neg || !ok {
		ts.Fatalf("want: %s", use)
	}
}

func refuse(ts *testscript.TestScript, neg bool, args []string) {
	noNeg(ts, neg, len(args) > 0, "refuse CODE ARG...")
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	before := files(ts)
	err = ts.Exec("phasebench", args[1:]...)
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != want {
		ts.Fatalf("exit: %v, want code %d", err, want)
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("stdout: %q, want nothing", out)
	}
	talk := ts.ReadFile("stderr")
	if !strings.HasPrefix(talk, "phasebench: ") || strings.Contains(talk, "goroutine ") {
		ts.Fatalf("stderr: %q, want a message", talk)
	}
	if after := files(ts); !maps.Equal(before, after) {
		ts.Fatalf("files before %q, after %q", before, after)
	}
}

// files lists what is below the working folder, with the content of files.
func files(ts *testscript.TestScript) map[string]string {
	all := map[string]string{}
	ts.Check(filepath.WalkDir(ts.MkAbs("."), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		all[path] = d.Type().String()
		if d.Type().IsRegular() {
			if data, err := os.ReadFile(path); err == nil { // some are unreadable on purpose
				all[path] += string(data)
			}
		}
		return nil
	}))
	return all
}

// The keys that the command line promises.
var (
	cycleKeys = strings.Fields(`speed_rpm map_kpa lambda spark_deg_btdc lpp_deg_atdc pmax_bar
		ca10_deg_atdc ca50_deg_atdc ca90_deg_atdc imep_gross_bar imep_net_bar pmep_bar fmep_bar bmep_bar brake_torque_nm
		brake_power_kw indicated_efficiency heat_loss_fraction residual_fraction volumetric_efficiency airflow_g_s
		peak_unburned_k peak_burned_k knock_integral knock_onset_deg_atdc energy_residual mass_residual`)
	stateKeys  = strings.Fields(`t1_k p1_bar t2_k p2_bar t3_k p3_bar t4_k p4_bar work_kj_kg efficiency mep_bar`)
	finiteKeys = strings.Fields(`pmax_over_p1 lpp_deg_atdc work_over_p1v1 efficiency efficiency_over_otto`)
	mapKeys    = strings.Fields(`speed_rpm map_kpa mbt knock_limit held_lpp held_ca50`)
	heldKeys   = strings.Fields(`spark_deg_btdc brake_torque_nm torque_loss_nm torque_loss_fraction`)
	metaKeys   = strings.Fields(`tool version command seed caution`)
)

// unlitNulls are the keys that a cycle which does not burn has no number for.
var unlitNulls = strings.Fields(`ca10_deg_atdc ca50_deg_atdc ca90_deg_atdc development_deg rapid_burn_deg peak_unburned_k peak_burned_k
	knock_integral knock_onset_deg_atdc knock_unburned_fraction knock_intensity_bar`)

// nulls are the keys that the cycle object has no number for.
func nulls(object any) []string {
	m, _ := object.(map[string]any)
	if lit, _ := m["lit"].(bool); !lit {
		return unlitNulls
	}
	if integral, ok := m["knock_integral"].(float64); ok && integral < 1 {
		return []string{"knock_onset_deg_atdc"}
	}
	return nil
}

func keysCommand(ts *testscript.TestScript, neg bool, args []string) {
	noNeg(ts, neg, len(args) >= 2, "keys KIND FILE [NULL...]")
	doc := map[string]any{}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[1])), &doc))
	null := args[2:]
	switch args[0] {
	case "cycle":
		ts.Check(hasKeys(doc, cycleKeys, slices.Concat(nulls(doc), null)))
	case "sweep":
		points, _ := doc["points"].([]any)
		if len(points) == 0 {
			ts.Fatalf("no points")
		}
		for _, p := range append(points, doc["mbt"]) {
			ts.Check(hasKeys(p, cycleKeys, slices.Concat(nulls(p), null)))
		}
	case "map":
		nodes, _ := doc["nodes"].([]any)
		if len(nodes) == 0 {
			ts.Fatalf("no nodes")
		}
		for _, n := range nodes {
			m, _ := n.(map[string]any)
			ts.Check(hasKeys(m, mapKeys, null))
			ts.Check(hasKeys(m["mbt"], cycleKeys, nulls(m["mbt"])))
			if k, _ := m["knock_limit"].(map[string]any); k["kind"] == "limited" {
				ts.Check(hasKeys(k, cycleKeys, nulls(k)))
			}
			for _, held := range []string{"held_lpp", "held_ca50"} {
				ts.Check(hasKeys(m[held], heldKeys, nil))
			}
		}
	case "states":
		ts.Check(hasKeys(doc, stateKeys, null))
	case "finite":
		ts.Check(hasKeys(doc, finiteKeys, null))
	default:
		ts.Fatalf("unknown kind %q", args[0])
	}
	ts.Check(hasKeys(doc["meta"], metaKeys, nil))
}

// hasKeys checks that object has all keys, none null except those of null,
// which all are.
func hasKeys(object any, keys, null []string) error {
	m, ok := object.(map[string]any)
	if !ok {
		return fmt.Errorf("%v: want an object", object)
	}
	for _, k := range slices.Concat(keys, null) {
		v, ok := m[k]
		if !ok {
			return fmt.Errorf("key %s is missing", k)
		}
		if slices.Contains(null, k) != (v == nil) {
			return fmt.Errorf("%s = %v: want null: %t", k, v, slices.Contains(null, k))
		}
	}
	for k, v := range m { // keys may be added, but not nulls
		if v == nil && !slices.Contains(null, k) {
			return fmt.Errorf("%s = null: want a value", k)
		}
	}
	return nil
}

func valueCommand(ts *testscript.TestScript, neg bool, args []string) {
	noNeg(ts, neg, len(args) == 4, "value FILE PATH LOW HIGH")
	var at any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &at))
	for _, key := range strings.Split(args[1], ".") {
		switch x := at.(type) {
		case map[string]any:
			at = x[strings.ReplaceAll(key, ":", ".")]
		case []any:
			i, err := strconv.Atoi(key)
			ts.Check(err)
			at = x[i]
		}
	}
	got, ok := at.(float64)
	low, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	high, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	if !ok || !(got >= low && got <= high) {
		ts.Fatalf("%s = %v, want %g to %g", args[1], at, low, high)
	}
}

func pictureCommand(ts *testscript.TestScript, neg bool, args []string) {
	noNeg(ts, neg, len(args) == 1, "picture FILE")
	data := []byte(ts.ReadFile(args[0]))
	switch filepath.Ext(args[0]) {
	case ".svg":
		d, root := xml.NewDecoder(bytes.NewReader(data)), ""
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			ts.Check(err)
			if start, ok := token.(xml.StartElement); ok && root == "" {
				root = start.Name.Local
			}
		}
		if root != "svg" {
			ts.Fatalf("root element %q, want svg", root)
		}
	case ".png":
		p, err := png.Decode(bytes.NewReader(data))
		ts.Check(err)
		if b := p.Bounds(); b.Dx() < 400 || b.Dy() < 300 {
			ts.Fatalf("%v is too small to read", b)
		}
	case ".pdf":
		if !bytes.HasPrefix(data, []byte("%PDF-")) || !bytes.HasSuffix(bytes.TrimSpace(data), []byte("%%EOF")) {
			ts.Fatalf("not a whole PDF")
		}
	default:
		ts.Fatalf("no such picture")
	}
}
