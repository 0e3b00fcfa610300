//go:build !linux

package store

import (
	"testing"

	"denwright/care/store/postgrestest"
)

func TestFullDiskSQLite(t *testing.T) {
	postgrestest.LeftOut(t, "SQLite on a full disk: small file systems are mounted on Linux only")
}
