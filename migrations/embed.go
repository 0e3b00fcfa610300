// Package migrations embeds the database schema as numbered pairs, one folder
// for each engine. The two folders hold the same numbers and the same tables;
// they differ only where the engines do (identity columns, triggers).
package migrations

import "embed"

// Files holds postgres/ and sqlite/, each with NNNN_name.up.sql and NNNN_name.down.sql.
//
//go:embed postgres/*.sql sqlite/*.sql
var Files embed.FS
