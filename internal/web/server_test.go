package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
	"nightreel/internal/web"
)

// ask sends one request, as a script of the page would.
func (s *site) ask(t *testing.T, method, path string, form url.Values, header map[string]string) (int, http.Header, []byte) {
	t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(t.Context(), method, s.url+path, body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept", "application/json")
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for k, v := range header {
		if k == "Host" {
			r.Host = v
		}
		r.Header.Set(k, v)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, resp.Header, data
}

func emptySite(t *testing.T, change func(*web.Options)) *site {
	t.Helper()
	return serve(t, filepath.Join(t.TempDir(), "c.nightreel"), change)
}

// If the catalog's file is deleted or replaced while the server runs, pages and
// edits say so; only what silences the desk goes on.
func TestACatalogThatIsGoneIsSaid(t *testing.T) {
	s := demoSite(t, nil)
	if status, _, _ := s.ask(t, "GET", "/", nil, nil); status != 200 {
		t.Fatalf("status %d before", status)
	}
	if err := os.Remove(s.store.Path()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		method, path string
		form         url.Values
	}{
		{"GET", "/", nil}, // kept from before
		{"GET", "/night/2031-05-02", nil},
		{"GET", "/data/jobs", nil},
		{"GET", "/scan", nil},
		{"POST", "/night/2031-05-02/note", url.Values{"text": {"louder"}}},
		{"POST", "/scan", url.Values{"folder": {s.dir}}},
	} {
		for _, accept := range []string{"text/html", "application/json"} {
			status, _, body := s.ask(t, c.method, c.path, c.form, map[string]string{"Accept": accept})
			if status != 503 || !strings.Contains(string(body), "the catalog was deleted") || !strings.Contains(string(body), "start nightreel again") {
				t.Errorf("%s %s: status %d: %s", c.method, c.path, status, body)
			}
		}
	}
	if status, _, body := s.ask(t, "POST", "/transport/do", url.Values{"do": {"fade_out"}}, nil); status == 503 {
		t.Errorf("fading out: status %d: %s", status, body)
	}
}

// TestBadInput: every answer is a 4xx with a sentence, as a page and as a
// document, and the server lives on.
func TestBadInput(t *testing.T) {
	s := demoSite(t, nil)
	long := strings.Repeat("x", 2<<20)
	takes, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
	if err != nil || len(takes) == 0 {
		t.Fatal(takes, err)
	}
	own := itoa(takes[0].ID)
	for _, c := range []struct {
		method, path string
		form         url.Values
		want         int
	}{
		{"GET", "/nowhere", nil, 404},
		{"GET", "/night/2031-13-40", nil, 400},
		{"GET", "/night/1999-01-01", nil, 404},
		{"GET", "/song/x", nil, 400},
		{"GET", "/song/99999", nil, 404},
		{"GET", "/song/1?measure=smell", nil, 400},
		{"POST", "/song/1", url.Values{"do": {"sing"}}, 400},
		{"POST", "/song/1", url.Values{"do": {"rename"}, "title": {" "}}, 400},
		{"POST", "/song/99999", url.Values{"do": {"rename"}, "title": {"X"}}, 404},
		{"POST", "/song/1", url.Values{"do": {"unalias"}, "alias": {"X"}}, 404},
		{"GET", "/findings?show=nonsense", nil, 400},
		{"GET", "/findings?after=-5", nil, 200},
		{"GET", "/findings/0/evidence.svg", nil, 400},
		{"GET", "/findings/99999/evidence.svg", nil, 404},
		{"GET", "/data/strips/1?from=0&to=1", nil, 400},
		{"GET", "/data/strips/1?from=0&to=1&columns=1000000000", nil, 400},
		{"GET", "/data/strips/1?from=5&to=1&columns=10", nil, 400},
		{"GET", "/data/strips/1?from=NaN&to=Inf&columns=10", nil, 400},
		{"GET", "/data/strips/99?from=0&to=1&columns=10", nil, 404},
		{"GET", "/data/waveform/1?from=0&to=3600&columns=10", nil, 400},
		{"GET", "/data/waveform/9999?from=0&to=1&columns=10", nil, 404},
		{"GET", "/listen/..%2F..%2Fetc%2Fpasswd", nil, 400},
		{"GET", "/listen/9999", nil, 404},
		{"GET", "/assets/x/..%2F..%2Fserver.go", nil, 404},
		{"GET", "/session/99999", nil, 404},
		{"GET", "/lists?date=nonsense", nil, 400},
		{"GET", "/lists/desk/none", nil, 404},
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"set"}, "take": {"9999"}, "start": {"1"}, "end": {"2"}}, 404},
		{"POST", "/night/2031-05-06/takes", url.Values{"do": {"set"}, "take": {own}, "start": {"1"}, "end": {"2"}}, 404}, // another night's
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"set"}, "take": {own}, "start": {"NaN"}, "end": {"2"}}, 400},
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"dance"}, "take": {own}}, 400},
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"undo"}}, 400},
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"add"}, "song": {""}, "start": {"1"}, "end": {"2"}}, 400},
		{"POST", "/night/2031-05-03/takes", url.Values{"do": {"split"}, "take": {own}, "at": {"9999"}}, 400},
		{"POST", "/night/2031-05-03/note", url.Values{"text": {"  "}}, 400},
		{"POST", "/night/2031-05-03/note", url.Values{"text": {long}}, 413},
		{"POST", "/lists/inputs", url.Values{"from": {"2031-05-03"}, "text": {long}}, 413},
		{"POST", "/findings/1?do=%zz", url.Values{}, 400},
		{"POST", "/findings/1", url.Values{"do": {"dance"}}, 400},
		{"POST", "/findings", url.Values{"note": {"x"}}, 400},
		{"POST", "/findings", url.Values{"finding": {"1", "99999"}}, 404},
		{"POST", "/findings/99999", url.Values{"do": {"accept"}}, 404},
		{"POST", "/lists/inputs", url.Values{"from": {"soon"}, "text": {"track\tchannel\n1\tKick"}}, 400},
		{"POST", "/lists/inputs", url.Values{"from": {"2031-05-02"}, "text": {"no headings"}}, 400},
		{"POST", "/lists/desk", url.Values{"name": {""}, "text": {"input\tchannel\n1\tKick"}}, 400},
		{"POST", "/lists/desk", url.Values{"name": {"A"}, "text": {"input\tchannel\nfour\tKick"}}, 400},
		{"POST", "/sessions", url.Values{"desk": {"none"}, "song": {"Salt on the Wire"}}, 404},
		{"POST", "/sessions", url.Values{"desk": {"foh"}}, 400},
		{"POST", "/sessions", url.Values{"desk": {"foh"}, "song": {"Salt on the Wire"}, "song_pick": {"best"}}, 400},
		{"POST", "/session/1/adjust", url.Values{"trim-0-1": {"loud"}}, 400},
		{"POST", "/session/1/adjust", url.Values{"trim-0-1": {"+400"}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {"../../etc"}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {"/etc"}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {".hidden"}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {"a\x00b"}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {strings.Repeat("a", 300)}}, 400},
		{"POST", "/session/1/render", url.Values{"folder": {"a"}, "bits": {"7"}}, 200}, // said by the job
		{"POST", "/scan", url.Values{"folder": {"relative"}}, 400},
		{"POST", "/jobs/scan/stop", url.Values{}, 404},
		{"DELETE", "/", nil, 404},
	} {
		status, _, body := s.ask(t, c.method, c.path, c.form, nil)
		if status != c.want {
			t.Errorf("%s %.60s %.80v: status %d, want %d: %.200s", c.method, c.path, c.form, status, c.want, body)
		}
		var doc struct{ Problem string }
		if c.want >= 400 && !strings.HasPrefix(c.path, "/assets/") && (json.Unmarshal(body, &doc) != nil || doc.Problem == "") {
			t.Errorf("%s %.60s: no problem is told: %.200s", c.method, c.path, body)
		}
	}
	if status, _, body := s.ask(t, "GET", "/night/1999-01-01", nil, map[string]string{"Accept": "text/html"}); status != 404 || !bytes.Contains(body, []byte("Not there")) {
		t.Errorf("as a page: %d %s", status, body)
	}
}

// TestListenIsTheRecording: what is listened to is the recording, sample by
// sample, in ranges too; and with the drive unplugged there is a sentence.
func TestListenIsTheRecording(t *testing.T) {
	s := demoSite(t, nil)
	recs, err := s.store.Recordings(t.Context(), catalog.RecordingFilter{Show: "2031-05-03"})
	if err != nil || len(recs) == 0 {
		t.Fatal(recs, err)
	}
	rec := recs[0] // polyphonic, in segments
	tracks, err := s.store.Tracks(t.Context(), catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		t.Fatal(err)
	}
	files, err := s.store.Files(t.Context(), catalog.FileFilter{Recording: rec.ID})
	if err != nil || len(files) < 2 {
		t.Fatalf("%d files, %v: segments are wanted", len(files), err)
	}
	track := tracks[4]
	want := []byte{}
	for _, f := range files { // the track's samples, cut out by hand
		data, err := os.ReadFile(f.FullPath())
		if err != nil {
			t.Fatal(err)
		}
		size := f.Channels * rec.SampleBytes
		for i := range f.Frames {
			at := f.DataOffset + i*int64(size) + int64((track.Number-f.FirstTrack)*rec.SampleBytes)
			want = append(want, data[at:at+int64(rec.SampleBytes)]...)
		}
	}
	path := "/listen/" + itoa(track.ID)
	status, h, whole := s.ask(t, "GET", path, nil, nil)
	info, err := wavfile.Parse(bytes.NewReader(whole), int64(len(whole)))
	if err != nil || len(info.Repairs) > 0 {
		t.Fatalf("%+v, %v", info, err)
	}
	header := int(info.DataOffset)
	if status != 200 || h.Get("Content-Type") != "audio/wav" || !bytes.Equal(whole[header:header+len(want)], want) {
		t.Fatalf("status %d, %s, %d bytes, want %d of samples", status, h.Get("Content-Type"), len(whole), len(want))
	}
	border := int(files[1].StartFrame)*rec.SampleBytes + header
	for _, r := range [][2]int{{0, 10}, {30, 60}, {border - 7, border + 9}, {len(whole) - 5, len(whole) - 1}} {
		status, h, part := s.ask(t, "GET", path, nil, map[string]string{"Range": "bytes=" + itoa(r[0]) + "-" + itoa(r[1])})
		if status != 206 || !bytes.Equal(part, whole[r[0]:r[1]+1]) {
			t.Errorf("range %v: status %d, %s, %d bytes", r, status, h.Get("Content-Range"), len(part))
		}
	}
	if status, _, part := s.ask(t, "GET", path+"?from=1&to=2", nil, nil); status != 200 || !bytes.Equal(part[header:], want[rec.SampleRate*rec.SampleBytes:2*rec.SampleRate*rec.SampleBytes]) {
		t.Errorf("a second: status %d, %d bytes", status, len(part))
	}
	volumes, err := s.store.Volumes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.store.MoveVolume(t.Context(), volumes[0].ID, filepath.Join(t.TempDir(), "away")); err != nil {
		t.Fatal(err)
	}
	if status, _, body := s.ask(t, "GET", path, nil, nil); status != 409 || !bytes.Contains(body, []byte("plug in the drive")) {
		t.Errorf("with the drive away: %d %s", status, body)
	}
}

// TestCacheFollowsTheCatalog: an answer is kept, and thrown away as soon as
// anybody changes anything.
func TestCacheFollowsTheCatalog(t *testing.T) {
	s := demoSite(t, nil)
	_, h, before := s.ask(t, "GET", "/night/2031-05-03", nil, nil)
	tag := h.Get("ETag")
	if status, _, body := s.ask(t, "GET", "/night/2031-05-03", nil, map[string]string{"If-None-Match": tag}); status != 304 || len(body) != 0 {
		t.Errorf("asked again: %d, %d bytes", status, len(body))
	}
	other, err := catalog.Open(t.Context(), s.store.Path()) // as the command line would
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if _, err := other.AddNote(t.Context(), "2031-05-03", "a ribbon on the amp"); err != nil {
		t.Fatal(err)
	}
	status, _, after := s.ask(t, "GET", "/night/2031-05-03", nil, map[string]string{"If-None-Match": tag})
	if status != 200 || !bytes.Contains(after, []byte("a ribbon on the amp")) || bytes.Equal(before, after) {
		t.Errorf("after a change: %d, %d bytes", status, len(after))
	}
}

// TestUndo: every edit of a night's songs can be taken back and done again, in
// order; what somebody else changed in between is not undone.
func TestUndo(t *testing.T) {
	s := demoSite(t, nil)
	type take struct {
		ID         int64
		Song       string
		Start, End float64
	}
	takes := func() []take {
		t.Helper()
		all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
		if err != nil {
			t.Fatal(err)
		}
		out := []take{}
		for _, tk := range all {
			out = append(out, take{0, tk.Song, tk.StartS(), tk.EndS()})
		}
		return out
	}
	id := func(n int) string {
		all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
		if err != nil {
			t.Fatal(err)
		}
		return itoa(all[n].ID)
	}
	do := func(want int, form url.Values) {
		t.Helper()
		if status, _, body := s.ask(t, "POST", "/night/2031-05-03/takes", form, nil); status != want {
			t.Fatalf("%v: %d %s", form, status, body)
		}
	}
	states := [][]take{takes()}
	first := states[0][0]
	edits := []func() url.Values{
		func() url.Values {
			return url.Values{"do": {"set"}, "take": {id(0)}, "start": {"1"}, "end": {ftoa(first.End)}}
		},
		func() url.Values {
			return url.Values{"do": {"split"}, "take": {id(1)}, "at": {ftoa((states[1][1].Start + states[1][1].End) / 2)}, "song": {"A New One"}}
		},
		func() url.Values { return url.Values{"do": {"rename"}, "take": {id(0)}, "song": {"Ninety Doors"}} },
		func() url.Values { return url.Values{"do": {"delete"}, "take": {id(4)}} },
		func() url.Values { return url.Values{"do": {"merge"}, "take": {id(1)}, "with": {id(2)}} },
	}
	for _, e := range edits {
		do(200, e())
		states = append(states, takes())
	}
	for i := range edits {
		if slices.Equal(states[i], states[i+1]) {
			t.Fatalf("edit %d changed nothing", i)
		}
	}
	for i := len(edits) - 1; i >= 0; i-- {
		do(200, url.Values{"do": {"undo"}})
		if now := takes(); !slices.Equal(now, states[i]) {
			t.Fatalf("undo %d:\n got %v\nwant %v", i, now, states[i])
		}
	}
	do(400, url.Values{"do": {"undo"}})
	for i := range edits {
		do(200, url.Values{"do": {"redo"}})
		if now := takes(); !slices.Equal(now, states[i+1]) {
			t.Fatalf("redo %d:\n got %v\nwant %v", i, now, states[i+1])
		}
	}
	all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-05-03"})
	if err != nil {
		t.Fatal(err)
	}
	all[0].EndFrame -= 4410
	if _, err := s.store.SaveTake(t.Context(), all[0]); err != nil {
		t.Fatal(err)
	}
	do(409, url.Values{"do": {"undo"}})
}

func itoa[T ~int | ~int64](n T) string { return strconv.FormatInt(int64(n), 10) }

func ftoa(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// TestStopsWhileStarting: Ctrl-C before the first request is an end like any other.
func TestStopsWhileStarting(t *testing.T) {
	s := emptySite(t, nil)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer l.Close()
	if err := s.server.Serve(ctx, l); err != nil {
		t.Error(err)
	}
}

// TestSongNames: a song gets another title and another name; a name that is a song
// of its own is refused, and makes one song of two only if a person says so.
func TestSongNames(t *testing.T) {
	s := demoSite(t, nil)
	lane, err := s.store.Song(t.Context(), "Marrow Lane")
	must(t, err)
	path := "/song/" + itoa(lane.ID)
	for _, step := range []struct {
		form   url.Values
		status int
		songs  int // that there are then
		names  string
	}{
		{url.Values{"do": {"rename"}, "title": {"Marrow Road"}}, 200, 5, "Marrow Road: Marrow Lane"},
		{url.Values{"do": {"alias"}, "alias": {"MR"}}, 200, 5, "Marrow Road: MR, Marrow Lane"},
		{url.Values{"do": {"alias"}, "alias": {"Slow Weather"}}, 409, 5, "Marrow Road: MR, Marrow Lane"},
		{url.Values{"do": {"alias"}, "alias": {"Slow Weather"}, "merge": {"1"}}, 200, 4, "Marrow Road: MR, Marrow Lane, Slow Weather"},
		{url.Values{"do": {"unalias"}, "alias": {"Slow Weather"}}, 200, 5, "Marrow Road: MR, Marrow Lane"},
	} {
		status, _, body := s.ask(t, "POST", path, step.form, nil)
		if status != step.status || status == 409 && !strings.Contains(string(body), "tick that they are") {
			t.Errorf("%v: %d %s", step.form, status, body)
		}
		all, err := s.store.Songs(t.Context())
		must(t, err)
		song, err := s.store.Song(t.Context(), "Marrow Road")
		must(t, err)
		if got := song.Title + ": " + strings.Join(song.Aliases, ", "); len(all) != step.songs || got != step.names {
			t.Errorf("after %v there are %d songs, and %s; want %d, %s", step.form, len(all), got, step.songs, step.names)
		}
	}
}
