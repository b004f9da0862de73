//go:build browser

package page_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Beside Play stands what makes B differ from A, and what is complained of is answered with changes
// that one press takes over as side B.
func TestWhyOnThePage(t *testing.T) {
	b := open(t, shipped(t, "fuzz-or-buffer-first.yaml"))
	b.Wait(`document.getElementById("why").textContent.includes("ecause")`)
	if said := b.Text(`document.getElementById("why").textContent`); !strings.Contains(said, "buffer") || !strings.Contains(said, "fuzz") {
		t.Errorf("why: %q", said)
	}
	picture(b, "because", 1280, 720)
	b.Quiet()
}

// plainChain renders fast: nothing in it distorts.
const plainChain = `drywire: 1
title: Which one jumps out?
recording: {sample: riff}
blocks:
  lift: {kind: boost, gain: 9 dB}
  tone: {kind: eq}
order: [lift, tone]
takes:
  - {name: plain, set: {lift.gain: 0 dB}}
  - {name: lifted}
  - {name: plain too, set: {lift.gain: 1 dB}}
`

// What is complained of is answered with changes, each of which one press takes over as side B; the
// knob that is chosen is turned from end to end. Both can be given up.
func TestComplaintOnThePage(t *testing.T) {
	b := open(t, plainChain)
	b.Run(`document.getElementById("hear-B").click()`)
	b.Run(`document.getElementById("tab-why").click()`)
	b.Run(`document.getElementById("complaint").value = "too-loud"`)
	b.Run(`document.getElementById("ask-why").click()`)
	b.Wait(`document.querySelector("#answer progress")`)
	picture(b, "why-asks", 1280, 720)
	b.Run(`document.getElementById("ask-why").click()`) // cancel, and ask again at once
	b.Wait(`document.getElementById("ask-why").textContent === "Find out why"`)
	b.Run(`document.getElementById("ask-why").click()`)
	b.Wait(`document.querySelector("#answer .fixes button")`)
	complained := b.Text(`drywire.state().sides.B.take`)
	if said := b.Text(`document.querySelector("#answer .found").textContent`); !strings.Contains(said, "ift causes it") {
		t.Errorf("answer: %q", said)
	}
	picture(b, "why-answers", 1280, 720)
	picture(b, "why-answers", 390, 1400)
	b.Resize(1280, 720)
	b.Run(`document.querySelector("#answer .fixes button").click()`)
	b.Wait(`drywire.state().undo === 1`)
	if now := b.Text(`drywire.state().sides.A.take`); now != complained {
		t.Errorf("side A is %q, and %q was complained of", now, complained)
	}
	if now := b.Text(`drywire.state().sides.B.take`); now == complained {
		t.Errorf("side B is %q", now)
	}
	b.Run(`document.getElementById("tab-block").click(); document.querySelector("#lane .station .main-row .name, #lane .station .main-row").click()`)
	b.Wait(`document.querySelector(".travel select").value === "gain"`)
	b.Run(`document.querySelector(".travel button").click()`)
	b.Wait(`document.querySelector(".travel img")?.naturalWidth > 0`)
	if said := b.Text(`document.querySelector(".travel .found").textContent`); !strings.Contains(said, "lift.gain") {
		t.Errorf("travel: %q", said)
	}
	picture(b, "travel", 1280, 720)
	picture(b, "travel", 390, 1400)
	b.Quiet()
}

// picture is kept where PICTURES names a folder.
func picture(b *browser, name string, width, height int) {
	folder := os.Getenv("PICTURES")
	if folder == "" {
		return
	}
	b.Resize(width, height)
	b.Picture(filepath.Join(folder, fmt.Sprintf("%s-%d.png", name, width)), width)
}

// The hunt asks, takes answers, takes one back, and ends with a culprit.
func TestHuntOnThePage(t *testing.T) {
	b := open(t, plainChain)
	b.Run(`document.getElementById("tab-noise").click()`)
	b.Run(`document.querySelector("#hunt button").click()`)
	b.Wait(`document.querySelector("#hunt .found")`)
	press := func(word string) {
		t.Helper()
		b.Run(`(() => { const before = document.querySelector("#hunt .found"), press = [...document.querySelectorAll("#hunt button")].find(p => p.textContent === "` + word + `"); globalThis.before = before; press.click(); })()`)
		b.Wait(`document.querySelector("#hunt .found") !== globalThis.before`)
	}
	press("hum")
	first := b.Text(`document.querySelector("#hunt .found").textContent`)
	picture(b, "hunt", 1280, 720)
	picture(b, "hunt", 390, 1400)
	b.Resize(1280, 720)
	press("same")
	press("Take the last answer back")
	if again := b.Text(`document.querySelector("#hunt .found").textContent`); again != first {
		t.Errorf("taken back, it asks %q, and asked %q", again, first)
	}
	for range 40 {
		if !b.Holds(`[...document.querySelectorAll("#hunt button")].some(p => p.textContent === "gone")`) {
			break
		}
		press("gone")
	}
	if said := b.Text(`document.querySelector("#hunt .found").textContent`); !strings.HasPrefix(said, "It is ") {
		t.Errorf("it ends with %q", said)
	}
	b.Quiet()
}

// A goal in a player's words is answered with settings, each of which one press takes over as side
// B, as loud as was asked for.
func TestGoalOnThePage(t *testing.T) {
	b := open(t, plainChain)
	b.Run(`document.getElementById("hear-A").click()`)
	b.Run(`document.getElementById("tab-why").click()`)
	b.Run(`document.querySelector("#aim summary").click()`)
	if offered := b.Text(`[...document.querySelectorAll("#than option")].map(o => o.value).join()`); offered != "lifted,plain too" {
		t.Errorf("than: %q", offered)
	}
	b.Run(`document.getElementById("than").value = "lifted"`)
	b.Run(`document.getElementById("by").value = "2"`)
	b.Run(`document.getElementById("direction").value = "softer"`)
	b.Run(`document.querySelector("#limits input[value='no more noise']").click()`)
	picture(b, "goal-asks", 1280, 720)
	picture(b, "goal-asks", 390, 1400)
	b.Resize(1280, 720)
	b.Run(`document.getElementById("ask-goal").click()`)
	b.Wait(`document.querySelector("#answer .fixes button")`)
	if said := b.Text(`document.querySelector("#answer .found").textContent`); !strings.Contains(said, `To have it 2 LU softer than "lifted", with no more noise: `) {
		t.Errorf("answer: %q", said)
	}
	if said := b.Text(`document.querySelector("#answer .fixes li").textContent`); !strings.Contains(said, " up to ") || !strings.Contains(said, "LU softer than lifted") {
		t.Errorf("first: %q", said)
	}
	picture(b, "goal-answers", 1280, 720)
	picture(b, "goal-answers", 390, 1400)
	b.Resize(1280, 720)
	b.Run(`document.querySelector("#answer .fixes button").click()`)
	b.Wait(`drywire.state().undo === 1`)
	if a, now := b.Text(`drywire.state().sides.A.take`), b.Text(`drywire.state().sides.B.take`); a != "plain" || !strings.Contains(now, " up to ") {
		t.Errorf("sides: %q and %q", a, now)
	}
	b.Quiet()
}
