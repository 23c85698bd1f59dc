package dataset_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"flourcast/dataset"
)

// Lots, pasting figures and noodles by lot become one table. The row of a lot that no
// lots file has waits. Invented figures.
func ExampleJoin() {
	dir, err := os.MkdirTemp("", "join")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	put := func(name, text string) []string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			fmt.Println(err)
		}
		return []string{path}
	}
	joined, err := dataset.Join(context.Background(), dataset.Files{
		Lots:    put("lots.csv", "lot,product,protein_pct\nA,soft-bite-noodle,9.1\nB,soft-bite-noodle,9.8\n"),
		Pasting: put("pasting.csv", "lot,method,peak_mPas,trough_mPas\nA,noodle-water,2900,2000\nB,noodle-water,2200,1600\nC,noodle-water,2500,1800\n"),
		Texture: put("texture.csv", "lot,replicate,hardness_N\nA,1,3.2\nA,2,3.4\nB,1,4.1\nB,2,4.0\n"),
	}, dataset.JoinOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	c := joined.Counts
	fmt.Printf("%d rows read: %d accepted, %d waiting, %d refused\n", c.Read, c.Accepted, c.Waiting, c.Refused)
	for i := range joined.Table.Len() {
		lot, _ := joined.Table.Text("lot", i)
		breakdown, _ := joined.Table.Number("breakdown_mPas", i)
		hardness, ok := joined.Table.Number("hardness_N", i)
		fmt.Printf("%s: breakdown %.0f mPa·s, hardness %.2f N %v\n", lot, breakdown, hardness, ok)
	}
	// Output:
	// 9 rows read: 8 accepted, 1 waiting, 0 refused
	// A: breakdown 900 mPa·s, hardness 3.30 N true
	// B: breakdown 600 mPa·s, hardness 4.05 N true
}
