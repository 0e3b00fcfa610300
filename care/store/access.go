package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Role is what a key may do. Each role may do all that those before it may.
type Role string

// The roles, least first.
const (
	Reader  Role = "reader"  // see setups, assessments, record revisions
	Keeper  Role = "keeper"  // change setups, store assessments
	Curator Role = "curator" // draft, review, publish and withdraw records, if the organisation curates
	Admin   Role = "admin"   // keys, audit trail, export and deletion of the organisation's data
)

// Roles lists the roles, least first.
var Roles = []Role{Reader, Keeper, Curator, Admin}

func (r Role) rank() int {
	for i, known := range Roles {
		if r == known {
			return i + 1
		}
	}
	return 0
}

// Caller is on whose behalf something is done: what Authenticate gives, or Operator.
type Caller struct {
	Key          string // id of the key
	Holder       string // the person who uses it
	Organisation string // id
	Role         Role
	Curates      bool // the organisation may change the shared records

	operator bool
}

// Operator is the person at the machine's command line, who owns the database
// file anyway: may do everything that needs no organisation.
func Operator(name string) Caller {
	return Caller{Key: "operator", Holder: name, Curates: true, operator: true}
}

// needs refuses a caller below the role, or without an organisation.
func (c Caller) needs(least Role) error {
	if c.Organisation == "" {
		return fmt.Errorf("%w: no organisation", ErrForbidden)
	}
	if c.Role.rank() < least.rank() {
		return fmt.Errorf("%w: needs the role %s", ErrForbidden, least)
	}
	return nil
}

// curates refuses a caller who may not change the shared records.
func (c Caller) curates() error {
	switch {
	case c.operator:
		return nil
	case c.Role.rank() < Curator.rank():
		return fmt.Errorf("%w: needs the role %s", ErrForbidden, Curator)
	case !c.Curates:
		return fmt.Errorf("%w: this organisation does not curate the shared records", ErrForbidden)
	}
	return nil
}

// Organisation is a rescue, a society or a person: the owner of setups.
type Organisation struct {
	ID        string    `json:"id"`
	Name      string    `json:"name"`
	Curates   bool      `json:"curates"`
	CreatedAt time.Time `json:"created_at"`
}

const organisationColumns = `id, name, curates, created_at`

func scanOrganisation(r row) (o Organisation, err error) {
	var at int64
	err = r.Scan(&o.ID, &o.Name, &o.Curates, &at)
	o.CreatedAt = instant(at)
	return o, err
}

// CreateOrganisation makes an organisation; the operator's alone. ErrStale where the name is taken.
func (s *Store) CreateOrganisation(ctx context.Context, who Caller, name string, curates bool) (Organisation, error) {
	if !who.operator {
		return Organisation{}, fmt.Errorf("%w: the operator makes organisations", ErrForbidden)
	}
	if err := shortText("name", name); err != nil {
		return Organisation{}, err
	}
	now := s.now()
	o := Organisation{newID(now), name, curates, now}
	err := s.writing(ctx, func(ctx context.Context, tx queryer) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO organisation (id, name, curates, created_at) VALUES ($1, $2, $3, $4)`, o.ID, o.Name, o.Curates, now.UnixMicro())
		if isDuplicate(err) {
			return fmt.Errorf("%w: the name is taken", ErrStale)
		}
		if err != nil {
			return err
		}
		return s.audit(ctx, tx, who, o.ID, "organisation.create", o.ID, map[string]any{"name": name, "curates": curates})
	})
	return o, err
}

// Organisations lists all; the operator's alone.
func (s *Store) Organisations(ctx context.Context, who Caller) (out []Organisation, err error) {
	if !who.operator {
		return nil, fmt.Errorf("%w: the operator sees all organisations", ErrForbidden)
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		out, err = collect(ctx, q, scanOrganisation, `SELECT `+organisationColumns+` FROM organisation ORDER BY id`)
		return err
	})
	return out, err
}

// Key is a key without its secret.
type Key struct {
	ID           string     `json:"id"`
	Organisation string     `json:"organisation"`
	Holder       string     `json:"holder"`
	Role         Role       `json:"role"`
	CreatedAt    time.Time  `json:"created_at"`
	CreatedBy    string     `json:"created_by"`
	RevokedAt    *time.Time `json:"revoked_at,omitempty"`
	RevokedBy    string     `json:"revoked_by,omitempty"`
}

const keyColumns = `id, organisation_id, holder, role, created_at, created_by, revoked_at, revoked_by`

func scanKey(r row) (k Key, err error) {
	var (
		created int64
		revoked sql.NullInt64
		by      sql.NullString
	)
	err = r.Scan(&k.ID, &k.Organisation, &k.Holder, &k.Role, &created, &k.CreatedBy, &revoked, &by)
	k.CreatedAt, k.RevokedAt, k.RevokedBy = instant(created), instantOf(revoked), by.String
	return k, err
}

// secretPrefix lets a leaked key be recognised in a log or a repository.
const secretPrefix = "dwk_"

// hashSecret is SHA-256 without salt or stretching. That is enough for a secret
// of 256 random bits, which can't be guessed from a list as a password can, and
// it lets a key be found by its hash in one indexed look-up.
func hashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// CreateKey makes a key and returns its secret, which is never shown again. An
// admin makes keys of its own organisation; the operator names the organisation.
// A repeat with the same idempotency token returns the key with an empty secret.
func (s *Store) CreateKey(ctx context.Context, who Caller, organisation, token, holder string, role Role) (k Key, secret string, err error) {
	if err := who.administers(&organisation); err != nil {
		return k, "", err
	}
	if role.rank() == 0 {
		return k, "", invalid("role %q; use one of %v", role, Roles)
	}
	if err := shortText("holder", holder); err != nil {
		return k, "", err
	}
	random := make([]byte, 32)
	rand.Read(random)
	fresh := secretPrefix + base64.RawURLEncoding.EncodeToString(random)
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		now := s.now()
		k, secret = Key{ID: newID(now), Organisation: organisation, Holder: holder, Role: role, CreatedAt: now, CreatedBy: who.Key}, fresh
		if _, err := one(ctx, tx, scanOrganisation, `SELECT `+organisationColumns+` FROM organisation WHERE id = $1`, organisation); err != nil {
			return err
		}
		before, err := s.once(ctx, tx, organisation, token, k.ID, "key", holder, string(role))
		if err != nil {
			return err
		}
		if before != "" {
			secret = ""
			k, err = one(ctx, tx, scanKey, `SELECT `+keyColumns+` FROM api_key WHERE id = $1`, before)
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO api_key (id, organisation_id, holder, role, secret_hash, created_at, created_by) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			k.ID, k.Organisation, k.Holder, string(k.Role), hashSecret(fresh), now.UnixMicro(), k.CreatedBy)
		if err != nil {
			return err
		}
		return s.audit(ctx, tx, who, organisation, "key.create", k.ID, map[string]any{"holder": holder, "role": role})
	})
	if err != nil {
		return Key{}, "", err
	}
	return k, secret, nil
}

// administers lets an admin act on its own organisation and the operator on any.
// An empty organisation means the caller's own.
func (c Caller) administers(organisation *string) error {
	if c.operator {
		if *organisation == "" {
			return invalid("name the organisation")
		}
		return nil
	}
	if err := c.needs(Admin); err != nil {
		return err
	}
	if *organisation == "" {
		*organisation = c.Organisation
	}
	if *organisation != c.Organisation {
		return ErrNotFound
	}
	return nil
}

// Authenticate finds whose secret it is. ErrUnauthenticated where it is unknown or revoked.
func (s *Store) Authenticate(ctx context.Context, secret string) (c Caller, err error) {
	if !strings.HasPrefix(secret, secretPrefix) {
		return Caller{}, ErrUnauthenticated
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		return q.QueryRowContext(ctx, `SELECT k.id, k.holder, k.organisation_id, k.role, o.curates
			FROM api_key k JOIN organisation o ON o.id = k.organisation_id
			WHERE k.secret_hash = $1 AND k.revoked_at IS NULL`, hashSecret(secret)).
			Scan(&c.Key, &c.Holder, &c.Organisation, &c.Role, &c.Curates)
	})
	if errors.Is(err, sql.ErrNoRows) {
		return Caller{}, ErrUnauthenticated
	}
	return c, err
}

// Keys lists an organisation's keys, revoked ones too.
func (s *Store) Keys(ctx context.Context, who Caller, organisation string, p Page) (out List[Key], err error) {
	if err := who.administers(&organisation); err != nil {
		return out, err
	}
	after, limit, err := p.resolve()
	if err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		keys, err := collect(ctx, q, scanKey, `SELECT `+keyColumns+` FROM api_key WHERE organisation_id = $1 AND id > $2 ORDER BY id LIMIT $3`, organisation, after, limit)
		out = page(keys, limit, func(k Key) string { return k.ID })
		return err
	})
	return out, err
}

// RevokeKey ends a key at once and for good; a repeat changes nothing. ErrStale
// for an organisation's last admin key, unless the operator says so.
func (s *Store) RevokeKey(ctx context.Context, who Caller, organisation, id string) (k Key, err error) {
	if err := who.administers(&organisation); err != nil {
		return k, err
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		// One revocation at a time in an organisation, or two admins could end each other.
		if err := changedOne(tx.ExecContext(ctx, `UPDATE organisation SET name = name WHERE id = $1`, organisation))(ErrNotFound); err != nil {
			return err
		}
		var err error
		k, err = one(ctx, tx, scanKey, `SELECT `+keyColumns+` FROM api_key WHERE id = $1 AND organisation_id = $2`, id, organisation)
		if err != nil || k.RevokedAt != nil {
			return err
		}
		if k.Role == Admin && !who.operator {
			var left int
			err := tx.QueryRowContext(ctx, `SELECT count(*) FROM api_key WHERE organisation_id = $1 AND role = 'admin' AND revoked_at IS NULL AND id <> $2`, organisation, id).Scan(&left)
			if err != nil {
				return err
			}
			if left == 0 {
				return fmt.Errorf("%w: this is the last admin key", ErrStale)
			}
		}
		now := s.now()
		if _, err := tx.ExecContext(ctx, `UPDATE api_key SET revoked_at = $1, revoked_by = $2 WHERE id = $3`, now.UnixMicro(), who.Key, id); err != nil {
			return err
		}
		k.RevokedAt, k.RevokedBy = &now, who.Key
		return s.audit(ctx, tx, who, organisation, "key.revoke", id, nil)
	})
	return k, err
}

// Entry is one line of the audit trail.
type Entry struct {
	Seq          int64           `json:"seq"`
	Organisation string          `json:"organisation,omitempty"`
	At           time.Time       `json:"at"`
	Actor        string          `json:"actor"`
	Holder       string          `json:"holder"`
	Action       string          `json:"action"`
	Subject      string          `json:"subject"`
	Detail       json.RawMessage `json:"detail"`
}

const auditColumns = `seq, organisation_id, at, actor, holder, action, subject, detail`

func scanEntry(r row) (e Entry, err error) {
	var (
		at           int64
		organisation sql.NullString
		detail       string
	)
	err = r.Scan(&e.Seq, &organisation, &at, &e.Actor, &e.Holder, &e.Action, &e.Subject, &detail)
	e.At, e.Organisation, e.Detail = instant(at), organisation.String, json.RawMessage(detail)
	return e, err
}

// audit writes one line within the transaction of what it tells. An empty
// organisation means the installation.
func (s *Store) audit(ctx context.Context, tx queryer, who Caller, organisation, action, subject string, detail map[string]any) error {
	text, err := json.Marshal(detail)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO audit (organisation_id, at, actor, holder, action, subject, detail) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		sql.NullString{String: organisation, Valid: organisation != ""}, s.now().UnixMicro(), who.Key, who.Holder, action, subject, string(text))
	return err
}

// AuditTrail lists what was done in an organisation, newest first. The operator
// may leave the organisation empty and sees what concerns the installation:
// changes of the shared records and deleted organisations.
func (s *Store) AuditTrail(ctx context.Context, who Caller, organisation string, p Page) (out List[Entry], err error) {
	if !who.operator || organisation != "" {
		if err := who.administers(&organisation); err != nil {
			return out, err
		}
	}
	after, limit, err := p.resolve()
	if err != nil {
		return out, err
	}
	before := int64(1) << 62
	if after != "" {
		if before, err = strconv.ParseInt(after, 10, 64); err != nil {
			return out, invalid("cursor is not one of ours")
		}
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		where, args := `organisation_id = $3`, []any{before, limit, organisation}
		if organisation == "" {
			where, args = `organisation_id IS NULL`, args[:2]
		}
		entries, err := collect(ctx, q, scanEntry, `SELECT `+auditColumns+` FROM audit WHERE `+where+` AND seq < $1 ORDER BY seq DESC LIMIT $2`, args...)
		out = page(entries, limit, func(e Entry) string { return strconv.FormatInt(e.Seq, 10) })
		return err
	})
	return out, err
}

// once books an idempotency token within the transaction that makes subject. It
// returns what an earlier call with the same token and request made, or "" for
// the first. ErrTokenReused where the request differs. An empty token books nothing.
func (s *Store) once(ctx context.Context, tx queryer, organisation, token, subject string, request ...string) (before string, err error) {
	if token == "" {
		return "", nil
	}
	if err := shortText("idempotency key", token); err != nil {
		return "", err
	}
	sum := sha256.New()
	for _, part := range request {
		fmt.Fprintf(sum, "%d:%s", len(part), part)
	}
	fingerprint := hex.EncodeToString(sum.Sum(nil))
	done, err := tx.ExecContext(ctx, `INSERT INTO idempotency (organisation_id, token, fingerprint, subject, created_at) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (organisation_id, token) DO NOTHING`, organisation, token, fingerprint, subject, s.now().UnixMicro())
	if err != nil {
		return "", err
	}
	if n, err := done.RowsAffected(); err != nil || n == 1 {
		return "", err
	}
	var earlier string
	if err := tx.QueryRowContext(ctx, `SELECT fingerprint, subject FROM idempotency WHERE organisation_id = $1 AND token = $2`, organisation, token).Scan(&earlier, &before); err != nil {
		return "", err
	}
	if earlier != fingerprint {
		return "", ErrTokenReused
	}
	return before, nil
}

// PruneTokens forgets idempotency tokens older than age. Call it now and then.
func (s *Store) PruneTokens(ctx context.Context, age time.Duration) (n int64, err error) {
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		r, err := tx.ExecContext(ctx, `DELETE FROM idempotency WHERE created_at < $1`, s.now().Add(-age).UnixMicro())
		if err != nil {
			return err
		}
		n, err = r.RowsAffected()
		return err
	})
	return n, err
}

// shortText refuses an empty or overlong line, and what can't be stored as text.
func shortText(field, text string) error {
	if strings.TrimSpace(text) == "" || len(text) > 500 || strings.ContainsRune(text, 0) || strings.ToValidUTF8(text, "") != text {
		return invalid("%s must be 1 to 500 bytes of text", field)
	}
	return nil
}
