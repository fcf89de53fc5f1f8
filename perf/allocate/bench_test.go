package allocate

import (
	"context"
	"fmt"
	"testing"
)

func BenchmarkSolve(b *testing.B) {
	for _, size := range [][2]int{{12, 4}, {40, 6}, {200, 20}} {
		for _, tight := range Tightnesses {
			b.Run(fmt.Sprintf("%dx%d-%v", size[0], size[1], tight), func(b *testing.B) {
				nodes := 0
				for n := 0; b.Loop(); n++ {
					r, err := Solve(context.Background(), Generate(uint64(n%20), size[0], size[1], tight), Options{})
					if err != nil {
						b.Fatal(err)
					}
					nodes += r.Nodes
				}
				b.ReportMetric(float64(nodes)/float64(b.N), "nodes/op")
			})
		}
	}
}
