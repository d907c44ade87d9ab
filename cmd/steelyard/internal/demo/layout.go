package demo

import "strings"

func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && len(line)+1+len(word) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// paragraph prints wrapped text.
func (t *Text) paragraph(indent int, text string) {
	for _, line := range wrap(text, textWidth-indent) {
		t.printf("%*s%s\n", indent, "", line)
	}
}

// bullet prints wrapped text behind a dash.
func (t *Text) bullet(indent int, text string) {
	dash := "- "
	for _, line := range wrap(text, textWidth-indent-len(dash)) {
		t.printf("%*s%s%s\n", indent, "", dash, line)
		dash = "  "
	}
}

// row prints a label and wrapped text beside it; nothing when the text is empty.
func (t *Text) row(label, text string) {
	if text == "" {
		return
	}
	for _, line := range wrap(text, textWidth-fullIndent-labelWidth) {
		t.printf("%*s%-*s%s\n", fullIndent, "", labelWidth, label, line)
		label = ""
	}
}

// list prints items under one label.
func (t *Text) list(label string, items []string) {
	for _, item := range items {
		dash := "- "
		for _, line := range wrap(item, textWidth-fullIndent-labelWidth-len(dash)) {
			t.printf("%*s%-*s%s%s\n", fullIndent, "", labelWidth, label, dash, line)
			label, dash = "", "  "
		}
	}
}
