//go:build !linux

package store

import "testing"

func TestFullDiskSQLite(t *testing.T) {
	leftOut(t, "SQLite on a full disk: small file systems are mounted on Linux only")
}
