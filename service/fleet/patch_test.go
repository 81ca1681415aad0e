package fleet_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"rideout/service/fleet"
)

// Source: RFC 7396 (2014), section 3 and appendix A.
func TestMergePatchOfTheStandard(t *testing.T) {
	t.Parallel()
	for _, v := range [][3]string{
		{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
		{`{"a":"b"}`, `{"a":null}`, `{}`},
		{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
		{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
		{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
		{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
		{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
		{`["a","b"]`, `["c","d"]`, `["c","d"]`},
		{`{"a":"b"}`, `["c"]`, `["c"]`},
		{`{"a":"foo"}`, `null`, `null`},
		{`{"a":"foo"}`, `"bar"`, `"bar"`},
		{`{"e":null}`, `{"a":1}`, `{"e":null,"a":1}`},
		{`[1,2]`, `{"a":"b","c":null}`, `{"a":"b"}`},
		{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
		{
			`{"title":"Goodbye!","author":{"givenName":"John","familyName":"Doe"},"tags":["example","sample"],"content":"This will be unchanged"}`,
			`{"title":"Hello!","phoneNumber":"+01-123-456-7890","author":{"familyName":null},"tags":["example"]}`,
			`{"title":"Hello!","author":{"givenName":"John"},"tags":["example"],"content":"This will be unchanged","phoneNumber":"+01-123-456-7890"}`,
		},
	} {
		target := tree(t, v[0])
		if got := fleet.MergePatch(target, tree(t, v[1])); !reflect.DeepEqual(got, tree(t, v[2])) {
			t.Errorf("%s patched by %s: got %v, want %s", v[0], v[1], got, v[2])
		}
		if !reflect.DeepEqual(target, tree(t, v[0])) {
			t.Errorf("%s patched by %s: the target became %v", v[0], v[1], target)
		}
	}
}

func tree(t *testing.T, text string) (tree any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), &tree); err != nil {
		t.Fatal(err)
	}
	return tree
}
