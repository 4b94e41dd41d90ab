package lists

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"nightreel/catalog"
)

func TestReadDesk(t *testing.T) {
	two := []catalog.DeskInput{{Input: 1, Channel: "Kick In", GainDB: dB(23)}, {Input: 33, Channel: "Lead Vocal", Output: 12}}
	for _, c := range []struct {
		name, text string
		want       []catalog.DeskInput
	}{
		{"plain", "desk input,channel,gain tonight,output\n1,Kick In,23,\n33,Lead Vocal,,12\n", two},
		{"trade words as headings", "Name;Ch;Preamp;Out\nLead Vocal;33;;12\nKick In;1;23,0;\n", two},
		{"input is the number", "Input,Channel,Gain,Output\n1,Kick In,23,\n33,Lead Vocal,,12\n", two},
		{"channel is the number", "Channel,Name,Gain,Output\n1,Kick In,23,\n33,Lead Vocal,,12\n", two},
		{"unused inputs", "desk input,channel,gain,output\n1,Kick In,23,\n2,,,\n33,Lead Vocal,,12\n", two},
		{"one channel at two inputs", "desk input,channel,output\n1,Vocal,1\n41,Vocal,1\n", []catalog.DeskInput{{Input: 1, Channel: "Vocal", Output: 1}, {Input: 41, Channel: "Vocal", Output: 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadDesk(strings.NewReader(c.text), "desk.csv")
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("got  %+v\nwant %+v", got, c.want)
			}
			var b bytes.Buffer
			if err := WriteDesk(&b, got); err != nil {
				t.Fatal(err)
			}
			again, err := ReadDesk(&b, "written")
			if err != nil || !reflect.DeepEqual(again, c.want) {
				t.Errorf("written and read again: %+v, %v", again, err)
			}
		})
	}
}

func TestReadDeskRefuses(t *testing.T) {
	for _, c := range []struct {
		name, text   string
		line         int
		column, says string
	}{
		{"no headings", "1,Kick\n", 0, "", "desk input"},
		{"input twice", "desk input,channel\n1,Kick\n1,Snare\n", 3, "desk input", "line 2"},
		{"output feeds two channels", "desk input,channel,output\n1,Kick,7\n7,Snare,\n", 3, "output", "line 2"},
		{"output in words", "desk input,channel,output\n1,Kick,left\n", 2, "output", `"left"`},
		{"output without channel", "desk input,channel,output\n1,,3\n", 2, "channel", "missing"},
		{"gain in words", "desk input,channel,gain tonight\n1,Kick,loud\n", 2, "gain tonight", `"loud"`},
		{"input missing", "desk input,channel\n,Kick\n", 2, "desk input", "missing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadDesk(strings.NewReader(c.text), "desk.csv")
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v, %v; want *Error", got, err)
			}
			if e.Line != c.line || e.Column != c.column || !strings.Contains(err.Error(), c.says) || e.Hint() == "" {
				t.Errorf("%v (hint %q): want line %d, column %q, %q", err, e.Hint(), c.line, c.column, c.says)
			}
		})
	}
}
