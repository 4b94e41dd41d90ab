module nightreel

go 1.26.0

require (
	github.com/chromedp/cdproto v0.159.0
	github.com/chromedp/chromedp v0.23.0
	github.com/gdamore/tcell/v2 v2.13.10
	github.com/gen2brain/malgo v0.11.24
	github.com/go-audio/audio v1.0.0
	github.com/go-audio/riff v1.0.0
	github.com/go-audio/wav v1.1.0
	github.com/gofrs/flock v0.13.2
	github.com/google/renameio/v2 v2.0.2
	github.com/hanwen/go-fuse/v2 v2.12.1
	github.com/mattn/go-sqlite3 v1.14.53
	github.com/rivo/uniseg v0.4.7
	github.com/rogpeppe/go-internal v1.16.0
	github.com/urfave/cli/v2 v2.27.7
	github.com/zeebo/xxh3 v1.1.0
	gitlab.com/gomidi/midi/v2 v2.3.16
	golang.org/x/sys v0.50.0
	golang.org/x/term v0.48.0
	golang.org/x/text v0.44.0
	gonum.org/v1/gonum v0.17.0
)

require (
	github.com/cpuguy83/go-md2man/v2 v2.0.7 // indirect
	github.com/gdamore/encoding v1.0.1 // indirect
	github.com/go-json-experiment/json v0.0.0-20260213210345-44df1a37e875 // indirect
	github.com/klauspost/cpuid/v2 v2.2.10 // indirect
	github.com/lucasb-eyer/go-colorful v1.3.0 // indirect
	github.com/russross/blackfriday/v2 v2.1.0 // indirect
	github.com/xrash/smetrics v0.0.0-20240521201337-686a1a2994c1 // indirect
	golang.org/x/tools v0.52.0 // indirect
)
