// Command tidemark measures how much of a folder tree really changes from night
// to night, and what that means for storing a copy of it elsewhere.
package main

import (
	"context"
	"os"
)

func main() { os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
