package refusal

import (
	"strings"
	"testing"
)

func TestText(t *testing.T) {
	for text, rule := range map[string]string{
		"": "", "Varrow": "", "Hærøy 甲板 🛩": "", "  trailing  ": "", "\u00e9": "", "👩\u200d✈\ufe0f": "",
		"e\u0301": "nfc", "A\x00B": "control-character", "two\nlines": "control-character", "tab\t": "control-character",
		"\u202eevil": "control-character", "\u2066evil\u2069": "control-character", "\u0085": "control-character",
		"\xff": "utf8",
	} {
		fault := Text("name", text)
		if fault.GetRule() != rule {
			t.Errorf("%q: %v, want %q", text, fault, rule)
		}
		if fault != nil && (fault.GetField() != "name" || fault.GetAllowed() == "" || strings.ContainsFunc(fault.GetValue(), isControl)) {
			t.Errorf("%q is shown as %q", text, fault.GetValue())
		}
	}
	if fault := Text("name", strings.Repeat("e\u0301", 4000)); len(fault.GetValue()) > 600 || len(fault.GetHint()) > 600 {
		t.Errorf("a long text is shown whole: %d bytes", len(fault.GetValue()))
	}
}
