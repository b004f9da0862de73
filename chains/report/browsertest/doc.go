// Package browsertest opens a page in a browser without a window, for the tests of the report and
// of the listening page: it presses its keys, asks it for values and sounds, and watches what it
// says on the console and what it asks of the network.
//
// It knows neither page. What a page should show is in that page's own tests; so is which requests
// are its own.
//
// The packages around it touch no file, clock, network or terminal, and this one starts a program:
// Debian's chromium. That can be here, since everything but this comment has the build tag browser,
// which no build of Drywire sets. Without the tag the package is empty, for js/wasm too.
//
// Start reading at Page (what is opened), then Browser.
package browsertest
