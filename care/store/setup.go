package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// payloadLimit bounds what one setup or assessment may hold. Own choice.
const payloadLimit = 1 << 20

// SetupInput is what a keeper gives.
type SetupInput struct {
	Name    string          `json:"name"`
	Species string          `json:"species"` // one species id, or empty; searched by, not checked here
	Payload json.RawMessage `json:"payload"` // the question as the API defines it; kept byte for byte
}

func (in SetupInput) check() error {
	if err := shortText("name", in.Name); err != nil {
		return err
	}
	if in.Species != "" {
		if err := shortText("species", in.Species); err != nil {
			return err
		}
	}
	return checkPayload(in.Payload)
}

func checkPayload(payload json.RawMessage) error {
	if len(payload) > payloadLimit {
		return invalid("payload is longer than %d bytes", payloadLimit)
	}
	if !json.Valid(payload) {
		return invalid("payload is not JSON")
	}
	if text := string(payload); strings.ToValidUTF8(text, "") != text {
		return invalid("payload is not UTF-8")
	}
	return nil
}

// Setup is an enclosure as it stands, in one of its versions.
type Setup struct {
	ID           string    `json:"id"`
	Organisation string    `json:"organisation"`
	Version      int64     `json:"version"` // from 1
	Deleted      bool      `json:"deleted,omitempty"`
	CreatedAt    time.Time `json:"created_at"`
	CreatedBy    string    `json:"created_by"` // key id
	UpdatedAt    time.Time `json:"updated_at"` // of this version
	UpdatedBy    string    `json:"updated_by"`
	SetupInput
}

// ETag is the entity tag of the version, for If-Match.
func (s Setup) ETag() string { return `"` + strconv.FormatInt(s.Version, 10) + `"` }

// ParseETag reads the version out of an If-Match header that holds one strong tag.
func ParseETag(tag string) (int64, error) {
	text, ok := strings.CutPrefix(strings.TrimSpace(tag), `"`)
	text, closed := strings.CutSuffix(text, `"`)
	version, err := strconv.ParseInt(text, 10, 64)
	if !ok || !closed || err != nil || version < 1 {
		return 0, invalid("If-Match must be the ETag of a setup as read")
	}
	return version, nil
}

const setupColumns = `s.id, s.organisation_id, v.version, s.deleted, s.created_at, s.created_by, v.at, v.by_key, v.name, v.species, v.payload`

// currentSetup joins each setup with its newest version.
const currentSetup = ` FROM setup s JOIN setup_version v ON v.setup_id = s.id AND v.version = s.version `

func scanSetup(r row) (s Setup, err error) {
	var (
		created, updated int64
		payload          string
	)
	err = r.Scan(&s.ID, &s.Organisation, &s.Version, &s.Deleted, &created, &s.CreatedBy, &updated, &s.UpdatedBy, &s.Name, &s.Species, &payload)
	s.CreatedAt, s.UpdatedAt, s.Payload = instant(created), instant(updated), json.RawMessage(payload)
	return s, err
}

// CreateSetup stores a new setup. With a token, a repeat of the same request
// returns the setup that the first one made, as it was then. ErrTokenReused.
func (s *Store) CreateSetup(ctx context.Context, who Caller, token string, in SetupInput) (out Setup, err error) {
	if err := who.needs(Keeper); err != nil {
		return out, err
	}
	if err := in.check(); err != nil {
		return out, err
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		now := s.now()
		id := newID(now)
		before, err := s.once(ctx, tx, who.Organisation, token, id, "setup", in.Name, in.Species, string(in.Payload))
		if err != nil {
			return err
		}
		if before != "" {
			out, err = setupAt(ctx, tx, who, before, 1)
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO setup (id, organisation_id, version, deleted, created_at, created_by) VALUES ($1, $2, 1, FALSE, $3, $4)`, id, who.Organisation, now.UnixMicro(), who.Key)
		if err != nil {
			return err
		}
		if err := addVersion(ctx, tx, who, id, 1, now, in); err != nil {
			return err
		}
		out = Setup{ID: id, Organisation: who.Organisation, Version: 1, CreatedAt: now, CreatedBy: who.Key, UpdatedAt: now, UpdatedBy: who.Key, SetupInput: in}
		return s.audit(ctx, tx, who, who.Organisation, "setup.create", id, nil)
	})
	if err != nil {
		return Setup{}, err
	}
	return out, nil
}

func addVersion(ctx context.Context, tx queryer, who Caller, id string, version int64, at time.Time, in SetupInput) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO setup_version (setup_id, version, name, species, payload, at, by_key) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		id, version, in.Name, in.Species, string(in.Payload), at.UnixMicro(), who.Key)
	return err
}

// setupAt reads one version; Deleted tells of the setup now.
func setupAt(ctx context.Context, q queryer, who Caller, id string, version int64) (Setup, error) {
	return one(ctx, q, scanSetup, `SELECT `+setupColumns+` FROM setup s JOIN setup_version v ON v.setup_id = s.id
		WHERE s.id = $1 AND s.organisation_id = $2 AND v.version = $3`, id, who.Organisation, version)
}

// currentOf reads the newest version of a setup that was not deleted.
func currentOf(ctx context.Context, q queryer, who Caller, id string) (Setup, error) {
	return one(ctx, q, scanSetup, `SELECT `+setupColumns+currentSetup+`WHERE s.id = $1 AND s.organisation_id = $2 AND NOT s.deleted`, id, who.Organisation)
}

// Setup reads a setup as it is now.
func (s *Store) Setup(ctx context.Context, who Caller, id string) (out Setup, err error) {
	if err := who.needs(Reader); err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		out, err = currentOf(ctx, q, who, id)
		return err
	})
	return out, err
}

// UpdateSetup makes the next version if the setup is still at the version given;
// ErrStale, with the setup as it now is, where it is not.
func (s *Store) UpdateSetup(ctx context.Context, who Caller, id string, version int64, in SetupInput) (Setup, error) {
	if err := in.check(); err != nil {
		return Setup{}, err
	}
	return s.nextVersion(ctx, who, id, version, "setup.update", func(now Setup) (SetupInput, bool) { return in, false })
}

// DeleteSetup ends a setup. Its history and assessments stay until the
// organisation's data is deleted. ErrStale as for UpdateSetup.
func (s *Store) DeleteSetup(ctx context.Context, who Caller, id string, version int64) error {
	_, err := s.nextVersion(ctx, who, id, version, "setup.delete", func(now Setup) (SetupInput, bool) { return now.SetupInput, true })
	return err
}

func (s *Store) nextVersion(ctx context.Context, who Caller, id string, version int64, action string, next func(Setup) (in SetupInput, deleted bool)) (out Setup, err error) {
	if err := who.needs(Keeper); err != nil {
		return out, err
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		out, err = currentOf(ctx, tx, who, id)
		if err != nil {
			return err
		}
		if out.Version != version {
			return ErrStale
		}
		in, deleted := next(out)
		// The condition decides, not the reading above: another replica may have been between.
		r, err := tx.ExecContext(ctx, `UPDATE setup SET version = version + 1, deleted = $1 WHERE id = $2 AND version = $3`, deleted, id, version)
		if err := changedOne(r, err)(ErrStale); err != nil {
			return err
		}
		now := s.now()
		if err := addVersion(ctx, tx, who, id, version+1, now, in); err != nil {
			return err
		}
		out.Version, out.Deleted, out.UpdatedAt, out.UpdatedBy, out.SetupInput = version+1, deleted, now, who.Key, in
		return s.audit(ctx, tx, who, who.Organisation, action, id, map[string]any{"version": version + 1})
	})
	if err != nil && !errors.Is(err, ErrStale) {
		return Setup{}, err
	}
	return out, err
}

// SetupFilter narrows a list; empty fields don't.
type SetupFilter struct {
	Species string
}

// Setups lists an organisation's setups, oldest first.
func (s *Store) Setups(ctx context.Context, who Caller, f SetupFilter, p Page) (out List[Setup], err error) {
	if err := who.needs(Reader); err != nil {
		return out, err
	}
	after, limit, err := p.resolve()
	if err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		items, err := collect(ctx, q, scanSetup, `SELECT `+setupColumns+currentSetup+`
			WHERE s.organisation_id = $1 AND NOT s.deleted AND s.id > $2 AND ($3 = '' OR v.species = $3) ORDER BY s.id LIMIT $4`,
			who.Organisation, after, f.Species, limit)
		out = page(items, limit, func(s Setup) string { return s.ID })
		return err
	})
	return out, err
}

// SetupHistory lists the versions of a setup, newest first, of a deleted one too.
func (s *Store) SetupHistory(ctx context.Context, who Caller, id string, p Page) (out List[Setup], err error) {
	if err := who.needs(Reader); err != nil {
		return out, err
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
		items, err := collect(ctx, q, scanSetup, `SELECT `+setupColumns+` FROM setup s JOIN setup_version v ON v.setup_id = s.id
			WHERE s.id = $1 AND s.organisation_id = $2 AND v.version < $3 ORDER BY v.version DESC LIMIT $4`, id, who.Organisation, before, limit)
		if err == nil && len(items) == 0 && after == "" {
			return ErrNotFound
		}
		out = page(items, limit, func(s Setup) string { return strconv.FormatInt(s.Version, 10) })
		return err
	})
	return out, err
}

// AssessmentInput is an answer and what identifies how it was reached.
type AssessmentInput struct {
	SetupVersion      int64           `json:"setup_version"` // which was assessed
	Species           string          `json:"species"`
	Verdict           string          `json:"verdict"`
	Worst             float64         `json:"worst"` // score interval, 0 to 1
	Best              float64         `json:"best"`
	CatalogueRevision string          `json:"catalogue_revision"` // care.Catalogue.Revision
	EngineVersion     string          `json:"engine_version"`
	Format            int64           `json:"format"`  // version of the payload's shape
	Payload           json.RawMessage `json:"payload"` // kept byte for byte
}

// Assessment is immutable: the database itself refuses to change one.
type Assessment struct {
	ID           string    `json:"id"`
	Organisation string    `json:"organisation"`
	Setup        string    `json:"setup"`
	At           time.Time `json:"at"`
	By           string    `json:"by"` // key id
	AssessmentInput
}

const assessmentColumns = `id, organisation_id, setup_id, setup_version, at, by_key, species, verdict, worst, best, catalogue_revision, engine_version, format, payload`

func scanAssessment(r row) (a Assessment, err error) {
	var (
		at      int64
		payload string
	)
	err = r.Scan(&a.ID, &a.Organisation, &a.Setup, &a.SetupVersion, &at, &a.By, &a.Species, &a.Verdict, &a.Worst, &a.Best, &a.CatalogueRevision, &a.EngineVersion, &a.Format, &payload)
	a.At, a.Payload = instant(at), json.RawMessage(payload)
	return a, err
}

func (in AssessmentInput) check() error {
	for field, text := range map[string]string{"species": in.Species, "verdict": in.Verdict, "catalogue_revision": in.CatalogueRevision, "engine_version": in.EngineVersion} {
		if err := shortText(field, text); err != nil {
			return err
		}
	}
	if !(0 <= in.Worst && in.Worst <= in.Best && in.Best <= 1) {
		return invalid("score runs from %g to %g; it must lie in 0 to 1, the worst first", in.Worst, in.Best)
	}
	if in.Format < 1 {
		return invalid("format is %d; it counts from 1", in.Format)
	}
	return checkPayload(in.Payload)
}

// AddAssessment stores an answer about a setup. Token as for CreateSetup.
func (s *Store) AddAssessment(ctx context.Context, who Caller, token, setup string, in AssessmentInput) (out Assessment, err error) {
	if err := who.needs(Keeper); err != nil {
		return out, err
	}
	if err := in.check(); err != nil {
		return out, err
	}
	err = s.writing(ctx, func(ctx context.Context, tx queryer) error {
		now := s.now()
		out = Assessment{ID: newID(now), Organisation: who.Organisation, Setup: setup, At: now, By: who.Key, AssessmentInput: in}
		// What was asked is the setup. The answer may differ by now, with a newer
		// catalogue or version; a repeat is still given the first.
		before, err := s.once(ctx, tx, who.Organisation, token, out.ID, "assessment", setup)
		if err != nil {
			return err
		}
		if before != "" {
			out, err = one(ctx, tx, scanAssessment, `SELECT `+assessmentColumns+` FROM assessment WHERE id = $1 AND organisation_id = $2`, before, who.Organisation)
			return err
		}
		if _, err := setupAt(ctx, tx, who, setup, in.SetupVersion); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO assessment (`+assessmentColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
			out.ID, out.Organisation, out.Setup, out.SetupVersion, now.UnixMicro(), out.By, out.Species, out.Verdict, out.Worst, out.Best, out.CatalogueRevision, out.EngineVersion, out.Format, string(out.Payload))
		if err != nil {
			return err
		}
		return s.audit(ctx, tx, who, who.Organisation, "assessment.create", out.ID, map[string]any{"setup": setup})
	})
	if err != nil {
		return Assessment{}, err
	}
	return out, nil
}

// Assessment reads one answer as it was given.
func (s *Store) Assessment(ctx context.Context, who Caller, id string) (out Assessment, err error) {
	if err := who.needs(Reader); err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		out, err = one(ctx, q, scanAssessment, `SELECT `+assessmentColumns+` FROM assessment WHERE id = $1 AND organisation_id = $2`, id, who.Organisation)
		return err
	})
	return out, err
}

// AssessmentFilter narrows a list; empty fields don't.
type AssessmentFilter struct {
	Setup, Species, Verdict, CatalogueRevision string
}

// Assessments lists an organisation's assessments, newest first.
func (s *Store) Assessments(ctx context.Context, who Caller, f AssessmentFilter, p Page) (out List[Assessment], err error) {
	if err := who.needs(Reader); err != nil {
		return out, err
	}
	after, limit, err := p.resolve()
	if err != nil {
		return out, err
	}
	err = s.reading(ctx, func(ctx context.Context, q queryer) error {
		items, err := collect(ctx, q, scanAssessment, `SELECT `+assessmentColumns+` FROM assessment
			WHERE organisation_id = $1 AND ($2 = '' OR id < $2) AND ($3 = '' OR setup_id = $3) AND ($4 = '' OR species = $4)
			AND ($5 = '' OR verdict = $5) AND ($6 = '' OR catalogue_revision = $6) ORDER BY id DESC LIMIT $7`,
			who.Organisation, after, f.Setup, f.Species, f.Verdict, f.CatalogueRevision, limit)
		out = page(items, limit, func(a Assessment) string { return a.ID })
		return err
	})
	return out, err
}

// Change is a setup whose answer differs from the one before.
type Change struct {
	Setup    string     `json:"setup"`
	Name     string     `json:"name"`
	Previous Assessment `json:"previous"`
	Current  Assessment `json:"current"`
}

// Reassess assesses anew every setup whose last assessment rests on another
// catalogue than revision, keeps each answer, and lists those whose verdict or
// score changed. Setups never assessed are left alone; so are those of other
// species than the one named, if one is. A setup that assess refuses ends the
// run with its error; what was done so far is kept, and a repeat goes on there.
func (s *Store) Reassess(ctx context.Context, who Caller, revision, species string, assess func(Setup) (AssessmentInput, error)) (changed []Change, done int, err error) {
	if err := who.needs(Keeper); err != nil {
		return nil, 0, err
	}
	for p := (Page{Limit: 100}); ; {
		setups, err := s.Setups(ctx, who, SetupFilter{Species: species}, p)
		if err != nil {
			return changed, done, err
		}
		for _, setup := range setups.Items {
			last, err := s.Assessments(ctx, who, AssessmentFilter{Setup: setup.ID}, Page{Limit: 1})
			if err != nil {
				return changed, done, err
			}
			if len(last.Items) == 0 || last.Items[0].CatalogueRevision == revision {
				continue
			}
			in, err := assess(setup)
			if err != nil {
				return changed, done, fmt.Errorf("setup %s: %w", setup.ID, err)
			}
			if in.CatalogueRevision != revision {
				return changed, done, invalid("assessed with catalogue %s, not %s", in.CatalogueRevision, revision)
			}
			in.SetupVersion = setup.Version
			// The token makes two replicas that do this at once keep one answer.
			token := "reassess " + setup.ID + " " + setup.ETag() + " " + revision + " " + in.EngineVersion
			now, err := s.AddAssessment(ctx, who, token, setup.ID, in)
			if err != nil {
				return changed, done, err
			}
			done++
			before := last.Items[0]
			if before.Verdict != now.Verdict || before.Worst != now.Worst || before.Best != now.Best {
				changed = append(changed, Change{setup.ID, setup.Name, before, now})
			}
		}
		if p.Cursor = setups.Next; p.Cursor == "" {
			return changed, done, nil
		}
	}
}

// Export writes all that is kept of an organisation as one JSON object a line,
// each with its "type": organisation, key (never the secret or its hash),
// setup_version, assessment, audit. All lines are of one moment.
func (s *Store) Export(ctx context.Context, who Caller, organisation string, write func(line []byte) error) error {
	if err := who.administers(&organisation); err != nil {
		return err
	}
	if err := s.ensure(ctx); err != nil {
		return err
	}
	// The reader of a long export may be slow: only the caller's own limit holds.
	tx, err := s.beginReading(ctx)
	if err != nil {
		return classify(ctx, err)
	}
	err = s.exportFrom(ctx, tx, organisation, write)
	return classify(ctx, errors.Join(err, ignoreDone(tx.Rollback())))
}

func (s *Store) exportFrom(ctx context.Context, tx *sql.Tx, organisation string, write func([]byte) error) error {
	if s.engine == postgresEngine {
		if _, err := tx.ExecContext(ctx, `SET LOCAL statement_timeout = 0`); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `SET LOCAL idle_in_transaction_session_timeout = 0`); err != nil {
			return err
		}
	}
	o, err := one(ctx, tx, scanOrganisation, `SELECT `+organisationColumns+` FROM organisation WHERE id = $1`, organisation)
	if err != nil {
		return err
	}
	if err := writeLine(write, "organisation", o); err != nil {
		return err
	}
	if err := stream(ctx, tx, write, "key", scanKey, `SELECT `+keyColumns+` FROM api_key WHERE organisation_id = $1 ORDER BY id`, organisation); err != nil {
		return err
	}
	if err := stream(ctx, tx, write, "setup_version", scanSetup, `SELECT `+setupColumns+` FROM setup s JOIN setup_version v ON v.setup_id = s.id WHERE s.organisation_id = $1 ORDER BY s.id, v.version`, organisation); err != nil {
		return err
	}
	if err := stream(ctx, tx, write, "assessment", scanAssessment, `SELECT `+assessmentColumns+` FROM assessment WHERE organisation_id = $1 ORDER BY id`, organisation); err != nil {
		return err
	}
	return stream(ctx, tx, write, "audit", scanEntry, `SELECT `+auditColumns+` FROM audit WHERE organisation_id = $1 ORDER BY seq`, organisation)
}

func stream[T any](ctx context.Context, q queryer, write func([]byte) error, kind string, scan func(row) (T, error), query string, args ...any) (err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		item, err := scan(rows)
		if err != nil {
			return err
		}
		if err := writeLine(write, kind, item); err != nil {
			return err
		}
	}
	return rows.Err()
}

func writeLine(write func([]byte) error, kind string, item any) error {
	line, err := json.Marshal(struct {
		Type string `json:"type"`
		Data any    `json:"data"`
	}{kind, item})
	if err != nil {
		return err
	}
	return write(append(line, '\n'))
}

// DeleteOrganisation removes an organisation and all that is its own: keys,
// setups with their history, assessments, tokens, its audit trail. The name must
// be repeated. What its curators did to the shared records stays, with their
// names: it is the catalogue's history. One line in the installation's audit
// trail says that something was deleted, without the name.
func (s *Store) DeleteOrganisation(ctx context.Context, who Caller, organisation, name string) error {
	if err := who.administers(&organisation); err != nil {
		return err
	}
	return s.writing(ctx, func(ctx context.Context, tx queryer) error {
		o, err := one(ctx, tx, scanOrganisation, `SELECT `+organisationColumns+` FROM organisation WHERE id = $1`, organisation)
		if err != nil {
			return err
		}
		if o.Name != name {
			return invalid("name is not that of the organisation")
		}
		var setups, assessments int
		if err := tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM setup WHERE organisation_id = $1), (SELECT count(*) FROM assessment WHERE organisation_id = $1)`, organisation).Scan(&setups, &assessments); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM organisation WHERE id = $1`, organisation); err != nil {
			return err
		}
		nobody := Caller{Key: who.Key}
		return s.audit(ctx, tx, nobody, "", "organisation.delete", organisation, map[string]any{"setups": setups, "assessments": assessments})
	})
}
