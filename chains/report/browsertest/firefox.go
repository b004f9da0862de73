//go:build browser

package browsertest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Firefox is a page in the other browser, without a window. It is driven by Marionette, Firefox's
// own protocol: a length, a colon and a JSON array of a message, over a socket of this machine.
type Firefox struct {
	t    testing.TB
	conn net.Conn
	in   *bufio.Reader
	id   int
}

// narrow lets the window be as narrow as a telephone.
const narrow = "#main-window, body { min-width: 0 !important; }\n#navigator-toolbox { display: none !important; }\n"

// OpenFirefox opens an address, some pixels wide and high, until the test ends.
func OpenFirefox(t testing.TB, address string, width, height int) *Firefox {
	t.Helper()
	program, err := exec.LookPath("firefox-esr")
	if err != nil {
		t.Fatal("these tests need Debian's package firefox-esr: ", err)
	}
	free, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := free.Addr().(*net.TCPAddr).Port
	free.Close()
	profile := t.TempDir()
	prefs := fmt.Sprintf("user_pref(\"marionette.port\", %d);\nuser_pref(\"media.autoplay.default\", 0);\nuser_pref(\"media.autoplay.blocking_policy\", 0);\n"+
		"user_pref(\"datareporting.policy.dataSubmissionEnabled\", false);\nuser_pref(\"app.update.enabled\", false);\n", port)
	prefs += "user_pref(\"toolkit.legacyUserProfileCustomizations.stylesheets\", true);\n"
	if err := os.Mkdir(filepath.Join(profile, "chrome"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(profile, "chrome", "userChrome.css"), []byte(narrow), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(profile, "user.js"), []byte(prefs), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--headless", "--marionette", "--no-remote", "--profile", profile, "--width", strconv.Itoa(width), "--height", strconv.Itoa(height))
	cmd.Env = append(os.Environ(), "HOME="+profile, "MOZ_HEADLESS=1")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	f := &Firefox{t: t}
	for range 600 {
		if f.conn, err = net.Dial("tcp4", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		t.Fatal("the browser never listens: ", err)
	}
	t.Cleanup(func() { f.conn.Close() })
	f.in = bufio.NewReader(f.conn)
	f.message() // its greeting
	f.ask("WebDriver:NewSession", map[string]any{})
	f.Go(address, width, height)
	return f
}

// text is an answer that is a text, or holds one.
func (f *Firefox) text(answer json.RawMessage) string {
	f.t.Helper()
	var v struct{ Value string }
	if err := json.Unmarshal(answer, &v); err != nil {
		f.t.Fatal(err)
	}
	return v.Value
}

// Back comes back to the page from a tab that it has opened, as a reader does.
func (f *Firefox) Back() {
	f.t.Helper()
	f.ask("WebDriver:SwitchToWindow", map[string]any{"handle": f.text(f.ask("WebDriver:GetWindowHandle", map[string]any{})), "focus": true})
}

// Go opens another address in the same browser, some pixels wide and high, and closes the tabs that
// the page has opened.
func (f *Firefox) Go(address string, width, height int) {
	f.t.Helper()
	own := f.text(f.ask("WebDriver:GetWindowHandle", map[string]any{}))
	var all []string
	if err := json.Unmarshal(f.ask("WebDriver:GetWindowHandles", map[string]any{}), &all); err != nil {
		f.t.Fatal(err)
	}
	for _, handle := range all {
		if handle != own {
			f.ask("WebDriver:SwitchToWindow", map[string]any{"handle": handle})
			f.ask("WebDriver:CloseWindow", map[string]any{})
		}
	}
	f.ask("WebDriver:SwitchToWindow", map[string]any{"handle": own, "focus": true})
	f.conn.SetDeadline(time.Now().Add(4 * time.Minute))
	f.Resize(width, height)
	f.ask("WebDriver:Navigate", map[string]any{"url": address})
	if wide, _ := f.Eval("innerWidth").(float64); wide > float64(width)+1 {
		f.t.Fatalf("the page is %g pixels wide, want %d", wide, width)
	}
}

// Resize gives the page another width and height, in pixels.
func (f *Firefox) Resize(width, height int) {
	f.t.Helper()
	f.ask("WebDriver:SetWindowRect", map[string]any{"width": width, "height": height})
}

func (f *Firefox) message() json.RawMessage {
	f.t.Helper()
	length, err := f.in.ReadString(':')
	if err != nil {
		f.t.Fatal(err)
	}
	n, err := strconv.Atoi(strings.TrimSuffix(length, ":"))
	if err != nil {
		f.t.Fatal(err)
	}
	text := make([]byte, n)
	if _, err := io.ReadFull(f.in, text); err != nil {
		f.t.Fatal(err)
	}
	return text
}

// ask gives a command and returns its result; an error ends the test.
func (f *Firefox) ask(command string, params any) json.RawMessage {
	f.t.Helper()
	f.id++
	text, err := json.Marshal([]any{0, f.id, command, params})
	if err != nil {
		f.t.Fatal(err)
	}
	if _, err := fmt.Fprintf(f.conn, "%d:%s", len(text), text); err != nil {
		f.t.Fatal(err)
	}
	var answer []json.RawMessage
	if err := json.Unmarshal(f.message(), &answer); err != nil || len(answer) != 4 {
		f.t.Fatalf("%s: %v", command, err)
	}
	if string(answer[2]) != "null" {
		f.t.Fatalf("%s: %s", command, answer[2])
	}
	return answer[3]
}

// Eval is the value of an expression in the page.
func (f *Firefox) Eval(expression string) any {
	f.t.Helper()
	var v struct {
		Value any `json:"value"`
	}
	if err := json.Unmarshal(f.ask("WebDriver:ExecuteScript", map[string]any{"script": "return " + expression, "args": []any{}}), &v); err != nil {
		f.t.Fatal(err)
	}
	return v.Value
}

// Wait waits for an expression to become truthy.
func (f *Firefox) Wait(expression string) {
	f.t.Helper()
	for range 1200 {
		if f.Eval("Boolean("+expression+")") == true {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	f.t.Fatalf("never came to be: %s", expression)
}

// Keys of WebDriver that are no letters.
const (
	FirefoxTab   = "\ue004"
	FirefoxEnter = "\ue007"
	FirefoxDown  = "\ue015"
	FirefoxPage  = "\ue00f" // page down
)

// Press presses keys, one after the other.
func (f *Firefox) Press(keys string) {
	f.t.Helper()
	var actions []any
	for _, k := range keys {
		actions = append(actions, map[string]any{"type": "keyDown", "value": string(k)}, map[string]any{"type": "keyUp", "value": string(k)})
	}
	f.ask("WebDriver:PerformActions", map[string]any{"actions": []any{map[string]any{"type": "key", "id": "keys", "actions": actions}}})
}
