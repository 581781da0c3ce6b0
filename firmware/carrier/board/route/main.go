// Route routes the netlist on the board as placed, and writes ../routes.txt. Run it
// by hand when netlist or placement change:
//
//	go run ./firmware/carrier/board/route --out firmware/carrier/board/routes.txt
//
// Each net is a tree of cheapest paths on a grid of 0.254 mm, on top and bottom.
// Nets may share cells at first. Shared cells cost more from round to round, until
// each net has its own (negotiated congestion: McMurchie and Ebeling, PathFinder,
// 1995; from memory). Nothing is random, so the result repeats.
package main

import (
	"flag"
	"fmt"
	"log"
	"os"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/board"
)

func main() {
	log.SetFlags(0)
	out := flag.String("out", "routes.txt", "file to write")
	rounds := flag.Int("rounds", 150, "rounds at most")
	flag.Parse()
	b, err := board.Placed(carrier.New())
	if err != nil {
		log.Fatal(err)
	}
	r := newRouter(b)
	for round := 1; round <= *rounds; round++ {
		disputed := r.round(round)
		log.Printf("round %d: %d nets share room", round, disputed)
		if disputed == 0 {
			break
		}
	}
	for range 3 {
		r.tidy()
	}
	r.copper(b)
	b.Widen()
	if err := os.WriteFile(*out, []byte(b.Routes()), 0o666); err != nil {
		log.Fatal(err)
	}
	broken := b.Faults()
	for _, v := range broken {
		fmt.Println(v)
	}
	log.Printf("%d tracks, %d vias, %d faults", len(b.Tracks), len(b.Vias), len(broken))
	if len(broken) > 0 {
		os.Exit(1)
	}
}
