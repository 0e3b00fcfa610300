package pages

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"denwright/api/saved"
	"denwright/care/store"
)

type keysData struct {
	Keys  []keyRow
	Next  string
	Roles []store.Role
	Token string
	Done  string
	// What was typed into the form of a new key, and what is wrong with it.
	Holder     string
	Role       store.Role
	HolderBad  string
	RoleBad    string
	Curates    bool
	Organising store.Organisation
}

type keyRow struct {
	store.Key
	By        string
	RevokedBy string
	Own       bool // the one in use
}

// keysPage lists the keys of the organisation, with the form of a new one.
func keysPage(v *visitor) error {
	return v.renderKeys(http.StatusOK, keysData{Role: store.Keeper})
}

func (v *visitor) renderKeys(status int, d keysData) (err error) {
	d.Roles, d.Token, d.Done, d.Curates = store.Roles, newToken(), v.done(), v.who.Curates
	if d.Organising, err = saved.Organisation(v.Request().Context(), v.store, v.who); err != nil {
		return err
	}
	list, err := v.store.Keys(v.Request().Context(), v.who, "", v.cursor())
	if err != nil {
		return err
	}
	names, err := v.holders()
	if err != nil {
		return err
	}
	for _, k := range list.Items {
		d.Keys = append(d.Keys, keyRow{Key: k, By: keyMaker(names, k.CreatedBy), RevokedBy: keyMaker(names, k.RevokedBy), Own: k.ID == v.who.Key})
	}
	d.Next = v.nextPage(list.Next)
	return v.renderStatus(status, "keys", v.t("keys.title"), d)
}

// keyMaker is the person behind a key, or the word that stands for no key: the operator.
func keyMaker(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return key
}

type keyMadeData struct {
	store.Key
	Secret string // empty when the form was sent again
}

// createKey makes a key and shows its secret, once: in the answer itself, since an
// address that it could be led to would have to hold it.
func createKey(v *visitor) error {
	d := keysData{Holder: v.posted("holder"), Role: store.Role(v.posted("role"))}
	if d.Holder == "" || len(d.Holder) > maxName {
		d.HolderBad = v.t("keys.holder.bad")
	}
	if !reaches(d.Role, store.Reader) {
		d.RoleBad = v.t("keys.role.bad")
	}
	if d.HolderBad != "" || d.RoleBad != "" {
		return v.renderKeys(http.StatusUnprocessableEntity, d)
	}
	k, secret, err := v.store.CreateKey(v.Request().Context(), v.who, "", v.token(), d.Holder, d.Role)
	if err != nil {
		return err
	}
	return v.render("key-made", v.t("key-made.title", k.Holder), keyMadeData{k, secret})
}

type revokeData struct {
	store.Key
	Own  bool
	Last bool // it is the last admin key and can't be
}

func revokePage(v *visitor) error { return v.confirmRevoke(http.StatusOK, false) }

func (v *visitor) confirmRevoke(status int, last bool) error {
	for p := (store.Page{Limit: 200}); ; {
		list, err := v.store.Keys(v.Request().Context(), v.who, "", p)
		if err != nil {
			return err
		}
		for _, k := range list.Items {
			if k.ID == v.Param("id") {
				return v.renderStatus(status, "key-revoke", v.t("key-revoke.title", k.Holder), revokeData{k, k.ID == v.who.Key, last})
			}
		}
		if p.Cursor = list.Next; p.Cursor == "" {
			return notFound()
		}
	}
}

func revokeKey(v *visitor) error {
	_, err := v.store.RevokeKey(v.Request().Context(), v.who, "", v.Param("id"))
	if errors.Is(err, store.ErrStale) {
		return v.confirmRevoke(http.StatusConflict, true)
	}
	if err != nil {
		return err
	}
	if v.Param("id") == v.who.Key {
		v.end()
		return v.seeOther("/sign-in", "own-key-revoked")
	}
	return v.seeOther("/keys", "revoked")
}

type auditData struct {
	Entries []auditRow
	Next    string
}

type auditRow struct {
	store.Entry
	Path string // of what it is about
}

// auditPage lists what was done in the organisation, newest first.
func auditPage(v *visitor) error {
	list, err := v.store.AuditTrail(v.Request().Context(), v.who, "", v.cursor())
	if err != nil {
		return err
	}
	d := auditData{Next: v.nextPage(list.Next)}
	for _, e := range list.Items {
		row := auditRow{Entry: e}
		var about struct {
			Setup string `json:"setup"`
		}
		if err := json.Unmarshal(e.Detail, &about); err != nil {
			return fmt.Errorf("audit trail, line %d: %w", e.Seq, err)
		}
		switch {
		case about.Setup != "": // an answer
			row.Path, row.Detail = v.path("setups", about.Setup, "assessments", e.Subject), nil
		case strings.HasPrefix(e.Action, "setup."):
			row.Path = v.path("setups", e.Subject)
		case strings.HasPrefix(e.Action, "key."):
			row.Path = "/keys"
		}
		d.Entries = append(d.Entries, row)
	}
	return v.render("audit", v.t("audit.title"), d)
}

// Short is enough of the id to tell two apart by eye.
func (e auditRow) Short() string { return "…" + e.Subject[max(0, len(e.Subject)-8):] }

// Says is the detail of an entry, where there is any.
func (e auditRow) Says() string {
	if text := string(e.Detail); text != "" && text != "null" {
		return strings.NewReplacer(`{"`, "", `"}`, "", `}`, "", `":`, ": ", `,"`, ", ", `"`, "").Replace(text)
	}
	return ""
}

type organisationData struct {
	store.Organisation
	Typed string
	Bad   bool
}

// organisationPage is about all that is kept of the organisation: to take it out, or
// to have it deleted.
func organisationPage(v *visitor) error { return v.renderOrganisation(http.StatusOK, "", false) }

func (v *visitor) renderOrganisation(status int, typed string, bad bool) error {
	o, err := saved.Organisation(v.Request().Context(), v.store, v.who)
	if err != nil {
		return err
	}
	return v.renderStatus(status, "organisation", v.t("organisation.title"), organisationData{o, typed, bad})
}

// exportSpell is how long one line may take to go out; a long export has as much time
// as it makes progress.
const exportSpell = 30 * time.Second

// exportOrganisation sends all that is kept, one JSON object a line.
func exportOrganisation(v *visitor) error {
	w, control := v.Response(), http.NewResponseController(v.Response())
	err := v.store.Export(v.Request().Context(), v.who, "", func(line []byte) error {
		if !w.Committed {
			w.Header().Set("Content-Type", "application/x-ndjson; charset=utf-8")
			w.Header().Set("Content-Disposition", `attachment; filename="denwright-organisation.ndjson"`)
			w.WriteHeader(http.StatusOK)
		}
		if err := control.SetWriteDeadline(time.Now().Add(exportSpell)); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return fmt.Errorf("export: %w", err)
		}
		_, err := w.Write(line)
		return err
	})
	if err != nil && w.Committed {
		v.site.log.Warn("export broke off", "id", w.Header().Get("X-Request-Id"), "error", err.Error())
		panic(http.ErrAbortHandler) // so that the client sees a broken answer, not a short one
	}
	return err
}

// deleteOrganisation removes all that is kept, where the name was typed as it is.
func deleteOrganisation(v *visitor) error {
	typed := v.posted("name")
	err := v.store.DeleteOrganisation(v.Request().Context(), v.who, "", typed)
	if errors.Is(err, store.ErrInvalid) {
		return v.renderOrganisation(http.StatusUnprocessableEntity, typed, true)
	}
	if err != nil {
		return err
	}
	v.end()
	return v.Redirect(http.StatusSeeOther, "/sign-in?"+url.Values{"done": {"organisation-deleted"}}.Encode())
}
