package ledger_test

import (
	"encoding/json"
	"errors"
	"maps"
	"reflect"
	"testing"

	"rideout/service/ledger"
)

// exported is an export of entry 7 of a log of 12, for somebody who kept the checkpoint of 5.
func exported(t *testing.T) (*store, ledger.Manifest, ledger.Verifiers, map[string]string) {
	t.Helper()
	signer, known, _ := pair(t)
	s := grown(t, 12)
	in, err1 := ledger.ProveInclusion(7, 12, s)
	con, err2 := ledger.ProveConsistency(5, 12, s)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	sums := map[string]string{"entries.txt": hexSHA256("entries"), "plan.json": hexSHA256("plan")}
	return s, ledger.Manifest{
		Format: ledger.ManifestFormat, OrgID: org, FirstSeq: 7, LastSeq: 7, Checkpoint: string(signed(t, signer, s.at(t, 12))),
		Files:       []ledger.File{{Name: "entries.txt", SHA256: sums["entries.txt"]}, {Name: "plan.json", SHA256: sums["plan.json"]}},
		Inclusion:   []ledger.Inclusion{{Seq: 7, Proof: in}},
		Consistency: []ledger.Consistency{{Size: 5, Proof: con}},
	}, known, sums
}

func TestManifestProvesWhatItSays(t *testing.T) {
	t.Parallel()
	s, m, known, sums := exported(t)
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	var again ledger.Manifest
	if err := json.Unmarshal(text, &again); err != nil || !reflect.DeepEqual(again, m) {
		t.Fatalf("%s reads back as %+v, %v", text, again, err)
	}
	c, err := again.Check(known, sums)
	if err != nil || c != s.at(t, 12) {
		t.Fatalf("the checkpoint is %v, %v; want %v", c, err, s.at(t, 12))
	}
	if err := again.Includes(c, change(7)); err != nil {
		t.Errorf("entry 7: %v", err)
	}
	if err := again.Extends(c, s.at(t, 5)); err != nil {
		t.Errorf("the first 5: %v", err)
	}
	altered := change(7)
	altered.By = "somebody else"
	for name, err := range map[string]error{
		"an altered entry":        again.Includes(c, altered),
		"an entry without proof":  again.Includes(c, change(8)),
		"a size without proof":    again.Extends(c, s.at(t, 6)),
		"another log of the size": again.Extends(c, ledger.Checkpoint{OrgID: org, Size: 5, Root: c.Root}),
	} {
		if !errors.Is(err, ledger.ErrUnproven) {
			t.Errorf("%s: error %v, want ErrUnproven", name, err)
		}
	}
}

func TestManifestThatDoesNotFitIsRefused(t *testing.T) {
	t.Parallel()
	_, _, others, _ := exported(t)
	for name, c := range map[string]struct {
		alter func(*ledger.Manifest, map[string]string)
		want  error
	}{
		"another format":        {func(m *ledger.Manifest, _ map[string]string) { m.Format = "rideout export 2" }, ledger.ErrMalformed},
		"another organisation":  {func(m *ledger.Manifest, _ map[string]string) { m.OrgID[0] ^= 1 }, ledger.ErrMalformed},
		"no checkpoint":         {func(m *ledger.Manifest, _ map[string]string) { m.Checkpoint = "" }, ledger.ErrMalformed},
		"a checkpoint unsigned": {func(m *ledger.Manifest, _ map[string]string) { m.Checkpoint = "x\n" + m.Checkpoint }, ledger.ErrUnsigned},
		"from entry 0":          {func(m *ledger.Manifest, _ map[string]string) { m.FirstSeq = 0 }, ledger.ErrRange},
		"back to front":         {func(m *ledger.Manifest, _ map[string]string) { m.LastSeq = 5 }, ledger.ErrRange},
		"beyond the checkpoint": {func(m *ledger.Manifest, _ map[string]string) { m.LastSeq = 13 }, ledger.ErrRange},
		"a file altered":        {func(_ *ledger.Manifest, sums map[string]string) { sums["plan.json"] = hexSHA256("another") }, ledger.ErrMalformed},
		"a file missing":        {func(_ *ledger.Manifest, sums map[string]string) { delete(sums, "plan.json") }, ledger.ErrMalformed},
		"a file more":           {func(_ *ledger.Manifest, sums map[string]string) { sums["more.csv"] = hexSHA256("") }, ledger.ErrMalformed},
		"a file listed twice":   {func(m *ledger.Manifest, _ map[string]string) { m.Files = append(m.Files, m.Files[0]) }, ledger.ErrMalformed},
	} {
		_, m, known, sums := exported(t)
		was := maps.Clone(sums)
		c.alter(&m, sums)
		if _, err := m.Check(known, sums); !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", name, err, c.want)
		}
		if _, err := m.Check(others, was); err == nil {
			t.Errorf("%s: passes with the key of another", name)
		}
	}
}
