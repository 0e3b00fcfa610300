package store

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"denwright/care/store/postgrestest"
)

func TestFullDiskSQLite(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=12m"); err != nil {
		postgrestest.LeftOut(t, "SQLite on a full disk: a small file system can't be mounted: "+err.Error())
		return
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	ballast := filepath.Join(disk, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 4<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Run("full", func(t *testing.T) { // its clean-up closes the store before the disk goes
		s, _ := fresh(t, filepath.Join(disk, "denwright.db"))
		fillUp(t, s, func() {
			if err := os.Remove(ballast); err != nil {
				t.Fatal(err)
			}
		})
	})
}
