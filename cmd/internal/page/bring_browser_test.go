//go:build browser

package page_test

import (
	"path/filepath"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/dom"
	"github.com/chromedp/chromedp"
)

// TestBringsARecording chooses a file in the dialog, answers its questions, and plays that file.
func TestBringsARecording(t *testing.T) {
	b := open(t, testChain)
	frames := b.Int("drywire.state().recording.frames")
	b.Run(`document.getElementById("bring").click()`)
	b.Wait(`document.getElementById("recording-box").open`)
	if !b.Holds(`document.getElementById("own-go").disabled`) {
		t.Error("nothing is chosen, and it could be played")
	}
	root, err := chromedp.Call(b.Context, dom.GetDocument, dom.GetDocumentParams{})
	if err != nil {
		t.Fatal(err)
	}
	input, err := chromedp.Call(b.Context, dom.QuerySelector, dom.QuerySelectorParams{NodeID: root.Root.NodeID, Selector: "#own"})
	if err != nil {
		t.Fatal(err)
	}
	file, err := filepath.Abs(filepath.Join("..", "..", "..", "samples", "recordings", "notes.wav"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(b.Context, dom.SetFileInputFiles, dom.SetFileInputFilesParams{Files: []string{file}, NodeID: input.NodeID}); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.getElementById("own-name").textContent === "notes.wav"`)
	b.Run(`document.getElementById("own-cable").value = "500"; document.getElementById("own-go").click()`)
	b.Wait(`document.getElementById("own-fault").textContent.includes("30 m")`)
	b.Run(`document.getElementById("own-cable").value = "4,5"; document.getElementById("own-go").click()`)
	b.Wait(`drywire.state().recording.frames !== ` + strconv.Itoa(frames))
	if b.Holds(`document.getElementById("recording-box").open`) {
		t.Error("the dialog stays open")
	}
	if s := b.exact("A"); len(s.volts) == 0 {
		t.Error("it does not sound")
	}
	b.Run(`document.getElementById("undo").click()`)
	b.Wait(`drywire.state().recording.frames === ` + strconv.Itoa(frames))
	b.Quiet()
}
