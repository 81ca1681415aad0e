package fleet

// MergePatch applies a JSON merge patch to a value, both as encoding/json reads them into any: null removes,
// an object is merged, anything else replaces. The target is not changed.
//
// Source: RFC 7396 (2014), section 2, MergePatch.
func MergePatch(target, patch any) any {
	members, isObject := patch.(map[string]any)
	if !isObject {
		return patch
	}
	merged := map[string]any{}
	if old, ok := target.(map[string]any); ok {
		for name, value := range old {
			merged[name] = value
		}
	}
	for name, value := range members {
		if value == nil {
			delete(merged, name)
		} else {
			merged[name] = MergePatch(merged[name], value)
		}
	}
	return merged
}
