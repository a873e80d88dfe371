package numbers

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
)

// head is the head of every file of reference rows.
var head = []string{"item", "function", "inputs", "output", "expected", "tolerance", "unit", "source", "status"}

// row is a reference row.
type row struct{ item, function, inputs, output, expected, tolerance, unit, source, status string }

// readRows reads every file of reference rows in a folder.
func readRows(folder string) (map[string][]row, error) {
	files, err := filepath.Glob(filepath.Join(folder, "*.csv"))
	if err != nil {
		return nil, fmt.Errorf("list reference rows: %w", err)
	}
	all := map[string][]row{}
	for _, file := range files {
		rows, err := readFile(file)
		if err != nil {
			return nil, err
		}
		name := filepath.Base(file)
		if !slices.ContainsFunc(topics, func(t topic) bool { return t.file == name }) {
			return nil, fmt.Errorf("reference rows %s: of no topic", name)
		}
		all[name] = rows
	}
	for _, t := range topics {
		if len(all[t.file]) == 0 {
			return nil, fmt.Errorf("reference rows %s: none in %s", t.file, folder)
		}
	}
	return all, nil
}

func readFile(file string) ([]row, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("read reference rows: %w", err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read reference rows %s: %w", filepath.Base(file), err)
	}
	if len(records) == 0 || !slices.Equal(records[0], head) {
		return nil, fmt.Errorf("read reference rows %s: the head is not %v", filepath.Base(file), head)
	}
	var rows []row
	for _, r := range records[1:] {
		rows = append(rows, row{r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7], r[8]})
	}
	return rows, nil
}
