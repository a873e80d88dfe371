package concrete_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// inputs are the "key=value;key=value" words of a row. A key that a function
// never reads fails the row, so that a misspelt one cannot pass unseen.
type inputs map[string]string

// readMark is put before a key once it has been read.
const readMark = "\x00"

// has says whether the row gives the key.
func (in inputs) has(key string) bool {
	_, ok := in[key]
	in[readMark+key] = "read"
	return ok
}

// word is the value as written, empty if the row does not give it.
func (in inputs) word(key string) string {
	in[readMark+key] = "read"
	return in[key]
}

// num is the value as a number; a row without it fails.
func (in inputs) num(t *testing.T, key string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(in.word(key), 64)
	require.NoError(t, err, "input %q", key)
	return v
}

// list is the value as numbers parted by spaces.
func (in inputs) list(t *testing.T, key string) []float64 {
	t.Helper()
	var out []float64
	for _, w := range strings.Fields(in.word(key)) {
		v, err := strconv.ParseFloat(w, 64)
		require.NoError(t, err, "input %q", key)
		out = append(out, v)
	}
	require.NotEmpty(t, out, "input %q", key)
	return out
}

// refFunc computes named results from the inputs of a row.
type refFunc func(t *testing.T, in inputs) map[string]float64

// refFuncs is filled by the init functions of the reference_*_test.go files.
var refFuncs = map[string]refFunc{}

// reference registers the function that rows call by a name. Two functions of
// one name would hide one another and half of the rows would check nothing.
func reference(name string, f refFunc) {
	if _, taken := refFuncs[name]; taken {
		panic("reference function " + name + " is registered twice")
	}
	refFuncs[name] = f
}

// refStatuses are the four ways in which a row may have been checked.
var refStatuses = map[string]bool{
	"found": true, "from memory": true, "computed": true, "common practice, no source": true,
}

var refHeader = []string{"item", "function", "inputs", "output", "expected", "tolerance", "unit", "source", "status"}

type refRow struct {
	file                                           string
	line                                           int
	item, function, inputs, output                 string
	expected, tolerance, unit, source, checkStatus string
}

func readReference(t *testing.T) []refRow {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "reference", "*.csv"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var rows []refRow
	for _, file := range files {
		f, err := os.Open(file)
		require.NoError(t, err)
		records, err := csv.NewReader(f).ReadAll()
		require.NoError(t, f.Close())
		require.NoError(t, err, file)
		require.Equal(t, refHeader, records[0], file)
		for i, r := range records[1:] {
			rows = append(rows, refRow{filepath.Base(file), i + 2, r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8]})
		}
	}
	return rows
}

func parseInputs(t *testing.T, s string) inputs {
	t.Helper()
	in := inputs{}
	if strings.TrimSpace(s) == "" {
		return in
	}
	for _, pair := range strings.Split(s, ";") {
		key, value, ok := strings.Cut(pair, "=")
		require.True(t, ok, "input %q has no =", pair)
		key = strings.TrimSpace(key)
		require.NotContains(t, in, key, "input %q given twice", key)
		in[key] = strings.TrimSpace(value)
	}
	return in
}

// tolerance reads "0.02" as absolute and "0.5%" as a part of the expected value.
func tolerance(t *testing.T, s string, expected float64) float64 {
	t.Helper()
	number, relative := strings.CutSuffix(s, "%")
	tol, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	require.NoError(t, err, "tolerance %q", s)
	if relative {
		tol *= math.Abs(expected) / 100
	}
	// Half a unit in the thirteenth digit allows for decimal to binary.
	return tol + 1e-13*math.Abs(expected)
}

func (r refRow) check(t *testing.T) {
	t.Helper()
	require.NotEmpty(t, r.item, "item")
	require.NotEmpty(t, r.source, "source")
	require.True(t, refStatuses[r.checkStatus], "status %q", r.checkStatus)
	f, ok := refFuncs[r.function]
	require.True(t, ok, "function %q is not registered", r.function)
	in := parseInputs(t, r.inputs)
	given := make([]string, 0, len(in))
	for key := range in {
		given = append(given, key)
	}
	got, ok := f(t, in)[r.output]
	require.True(t, ok, "function %q has no output %q", r.function, r.output)
	for _, key := range given {
		require.Contains(t, in, readMark+key, "function %q never reads input %q with num, word or has", r.function, key)
	}
	expected, err := strconv.ParseFloat(r.expected, 64)
	require.NoError(t, err, "expected %q", r.expected)
	require.False(t, math.IsNaN(got) || math.IsInf(got, 0), "%s(%s) %s is %v", r.function, r.inputs, r.output, got)
	require.InDelta(t, expected, got, tolerance(t, r.tolerance, expected),
		"%s(%s) %s in %s; source: %s (%s)", r.function, r.inputs, r.output, r.unit, r.source, r.checkStatus)
}

// TestReference checks the package against the published and computed values
// of testdata/reference, each with its source and how far it was verified.
func TestReference(t *testing.T) {
	used, sources := map[string]bool{}, map[string]bool{}
	rows := readReference(t)
	for _, row := range rows {
		used[row.function], sources[row.source] = true, true
		t.Run(row.file+":"+strconv.Itoa(row.line)+"/"+row.item, row.check)
	}
	for name := range refFuncs {
		require.True(t, used[name], "function %q is registered and no row uses it", name)
	}
	require.GreaterOrEqual(t, len(rows), 250, "rows")
	require.GreaterOrEqual(t, len(sources), 20, "sources")
}

func TestReferenceNamesAreTakenOnce(t *testing.T) {
	for name, f := range refFuncs {
		require.Panics(t, func() { reference(name, f) }, name)
	}
	require.NotEmpty(t, refFuncs)
}
