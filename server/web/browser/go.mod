// Tests of the page in a browser, in a module of their own: what drives the browser is
// none of the program's.
module turnwright/server/web/browser

go 1.26.0

require (
	github.com/chromedp/cdproto v0.159.0
	github.com/chromedp/chromedp v0.23.0
	github.com/stretchr/testify v1.12.1
	turnwright v0.0.0
)

require (
	github.com/go-json-experiment/json v0.0.0-20260213210345-44df1a37e875 // indirect
	github.com/tdewolff/parse/v2 v2.8.20 // indirect
	go.yaml.in/yaml/v3 v3.0.5 // indirect
)

replace turnwright => ../../..
