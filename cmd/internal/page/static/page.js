// @ts-check
// The listening page: it shows the state that the program sends, plays the sound that it sends, and sends what was asked for. Start reading here; sound.js and
// worklet.js play, lane.js draws the board, strip.js both orders in short, wave.js the recording, panel.js settings and (by plots.js) figures, trial.js is the
// blind test, keeping.js saves, levels.js meters what comes out.
import { ask, listen, Refusal } from "./wire.js";
import { byId, el, say, num, time, count } from "./dom.js";
import { Sound } from "./sound.js";
import { Lane } from "./lane.js";
import { Strip } from "./strip.js";
import { Panel } from "./panel.js";
import { Wave } from "./wave.js";
import { Figures } from "./plots.js";
import { Trial } from "./trial.js";
import { Bring } from "./bring.js";
import { Keeping } from "./keeping.js";
import { Why } from "./why.js";
import { Hunt } from "./hunt.js";
import { Levels } from "./levels.js";
import { board, entries, line, moved, without, words } from "./order.js";

/** @type {any} */
let state = null;
let session = "";
let region = [0, 1];
let regionOf = "";
/** Figures of the sides and what both are to each other, and of which revision they are. @type {Record<string, {of: number, value: any, fault: string}>} */
const seen = Object.fromEntries(["A", "B", "AB", "because"].map(k => [k, { of: -1, value: null, fault: "" }]));
/** @type {{side: string, of: number, stop: AbortController} | null} */
let looking = null;
/** Edits on their way, one after the other; of a slider only the last one. @type {{side: string, op: any, done: ((ok: boolean) => void) | null}[]} */
const queue = [];
let sending = false;

const sound = new Sound("");
const levels = new Levels(sound);

// What is said.

let spoken = 0;
/** @param {string} text */
const announce = text => {
	const box = byId("spoken");
	box.replaceChildren(el("span", {}, text + (++spoken % 2 ? "" : "\u00a0"))); // the same words twice are to be said twice
};

/** A line that stays until it is read. @param {string} text @param {{id?: string, fault?: boolean, passing?: boolean, actions?: [string, () => void][]}} [how] */
function notice(text, how = {}) {
	const id = how.id ?? "n-" + text;
	const old = [...byId("notices").children].find(n => n.dataset.id === id);
	const close = el("button", { type: "button", class: "plain", onclick: () => n.remove() }, "Close");
	const n = el("div", { class: "notice" + (how.fault ? " wrong" : ""), "data-id": id }, el("p", {}, text), el("div", { class: "row" }, ...(how.actions ?? []).map(([name, act]) => el("button", { type: "button", onclick: () => { n.remove(); act(); } }, name)), close));
	if (old) old.replaceWith(n);
	else byId("notices").append(n);
	if (how.passing) setTimeout(() => n.remove(), 12000);
	return n;
}

/** @param {string} id */
const unsay = id => [...byId("notices").children].find(n => n.dataset.id === id)?.remove();

/** @param {any} e */
const fault = e => {
	if (e?.name === "AbortError") return;
	const text = e instanceof Refusal ? e.message : "The program does not answer: " + (e?.message ?? e);
	notice(text, { id: e instanceof Refusal ? "refused" : "fault", fault: true }); // a refusal stays until it is read
	announce(text);
};

// What is wished.

/** @param {any} op @param {string} [side] @returns {Promise<boolean>} */
function edit(op, side = sound.side) {
	return new Promise(done => {
		const last = queue.at(-1);
		if (op.do === "knob" && last?.op.do === "knob" && last.op.target === op.target && last.side === side && last.op.more) {
			last.op = op;
			last.done?.(true);
			last.done = done;
		} else if (op.do === "order" && last?.op.do === "order" && last.side === side) { // a key held down: the last order is what is wished
			last.op = op;
			last.done?.(true);
			last.done = done;
		} else queue.push({ side, op, done });
		pump();
	});
}

/** Orders that are drawn and not answered yet. @type {Record<string, import("./order.js").Board | null>} */
const ahead = { A: null, B: null };
/** @param {string} side */
const wished = side => queue.some(q => q.side === side && q.op.do === "order");

async function pump() {
	if (sending) return;
	sending = true;
	for (let next = queue.shift(); next; next = queue.shift()) {
		let ok = false;
		try {
			const s = await ask("do", { session, side: next.side, op: next.op });
			ok = true;
			unsay("fault");
			if (!wished(next.side)) ahead[next.side] = null;
			show(s);
		} catch (e) {
			fault(e);
			if (!wished(next.side)) ahead[next.side] = null; // what was drawn ahead is drawn back
			show(state, true);
		}
		next.done?.(ok);
	}
	sending = false;
}

/** @param {string} side */
function hear(side) {
	if (side !== sound.side) {
		sound.hear(side);
		announce(`Side ${side}, ${state.sides[side].take}`);
	}
	show(state, true);
	see();
}

const other = () => sound.side === "A" ? "B" : "A";

/** @param {number[]} r */
function loop(r) {
	region = r;
	sound.setRegion(r, state.recording.rate);
	wave.showRegion(r);
	for (const s of Object.values(seen)) s.of = -1;
	lookAway(); // what is being asked is of the region before
	showRegion();
	show(state, true);
	see();
}

/** @param {string} side @param {import("./order.js").Board} b @param {string} block */
async function order(side, b, block) {
	ahead[side] = b;
	show(state, true);
	const ok = await edit({ do: "order", order: entries(b) }, side);
	if (ahead[side] && ahead[side] !== b) return; // more was said since
	announce(ok ? `${block}, ${words(board(state.sides[side]), block)}.` : `${block} stays where it was. ${byId("notices").querySelector("[data-id=refused] p")?.textContent ?? ""}`);
}

/** The chain is heard at a jack, or at its end. @param {string} jack */
function hearAt(jack) {
	sound.setJack(jack);
	announce(jack ? `You hear it ${spot(jack)}` : "You hear the output");
	show(state, true);
}

/** A jack in words. @param {string} jack */
const spot = jack => jack === "guitar" ? "at the guitar" : (jack.endsWith(".in") ? "before " : "behind ") + jack.replace(/\.(in|out)$/, "");

/** Whether a side can be heard at the jack that is listened to. @param {string} side */
const hasJack = side => !sound.jack || state.sides[side].jacks.includes(sound.jack);

/** @param {string} block */
function pick(block) {
	lane.select(block);
	panel.open("block");
	showPanel();
	if (innerWidth < 1000) byId("panel").scrollIntoView({ block: "nearest" });
}

const lane = new Lane(byId("lane"), { op: op => edit(op), order: (b, block) => order(sound.side, b, block), pick, say: announce });
const strip = new Strip(byId("sides"), {
	hear, order, say: announce,
	pick: (block, side) => { if (side !== sound.side) hear(side); pick(block); },
	take: (side, name) => edit({ do: "take", name }, side),
});
const panel = new Panel({ op: op => edit(op), off: block => order(sound.side, moved(lane.now(), block, { list: "tray", index: 1e9 }), block), hear: hearAt }, { ask: () => ({ session, side: sound.side, region }), fault, announce });
const wave = new Wave(byId("picture"), byId("times"), { seek: f => { sound.seek(f); tick(); }, region: loop });
const figures = new Figures();
const trial = new Trial({ session: () => session, region: () => region, sound, fault, over: () => { show(state, true); see(); } });
const complaints = new Why({ ask: () => ({ session, side: sound.side, region }), op: op => edit(op), fault, announce });
new Hunt({ ask: () => ({ session, side: sound.side }), fault, announce });
new Bring({ edit: op => edit(op), quiet: () => sound.stop() });
const keeping = new Keeping({ session: () => session, side: () => sound.side, state: () => state, show: s => show(s), notice, announce, fault, edit });

// What is shown.

/** @param {any} s @param {boolean} [again] */
function show(s, again) {
	if (!s) return;
	const fresh = !state || s.revision !== state.revision || s.recording.name !== state.recording.name;
	if (state && s.revision < state.revision && !again) return; // an answer that was overtaken
	state = s;
	if (session) sessionStorage.setItem("session", JSON.stringify({ session, take: s.sides.A.take }));
	if (trial.running()) return;
	const letter = sound.side, mine = s.sides[letter];
	if (!hasJack("A") && !hasJack("B")) sound.setJack(""); // its block has gone
	document.title = (s.dirty ? "• " : "") + s.title + " – drywire";
	say(byId("title"), s.title);
	say(byId("file"), s.file);
	say(byId("saved"), s.disk === "gone" ? "gone from the disk" : s.disk === "changed" ? "changed on disk" : s.dirty ? "not saved yet" : "saved");
	byId("saved").classList.toggle("dirty", s.dirty || s.disk !== "same");
	byId("undo").disabled = !s.undo;
	byId("redo").disabled = !s.redo;
	byId("history").disabled = !s.undo;
	const key = s.recording.name + s.recording.frames;
	wave.show(s.recording, s.longest);
	if (key !== regionOf) {
		regionOf = key;
		region = s.region;
		wave.showRegion(region);
		sound.setRegion(region, s.recording.rate);
		showRegion();
	}
	if (!s.dirty) kept = {};
	for (const side of ["A", "B"]) {
		const b = byId("hear-" + side);
		b.setAttribute("aria-pressed", String(side === letter));
		say(byId("name-" + side), called(side));
	}
	document.documentElement.dataset.side = letter;
	strip.show(s, letter, ahead);
	showSettings(mine);
	lane.show(letter, mine, seen[letter].value, ahead[letter]);
	lane.listen(hasJack(letter) ? sound.jack : "");
	say(byId("where"), !sound.jack ? "" : hasJack(letter) ? spot(sound.jack) : `${letter} has no ${sound.jack.replace(/\.(in|out)$/, "")}: its output`);
	byId("where").hidden = byId("to-end").hidden = !sound.jack;
	byId("test").hidden = Boolean(sound.jack); // which is of the outputs
	if (lane.picked !== " guitar" && !lane.stations.has(lane.picked)) lane.select(mine.lane.find((/** @type {any} */ e) => e.block)?.block ?? "");
	byId("lane").classList.toggle("stale", seen[letter].of !== s.revision);
	say(byId("lane-side"), `Board of side ${letter}`);
	fillList(byId("cables"), (mine.cables ?? []).map((/** @type {any} */ c) => c.text), "None: the order is the one on the floor.");
	say(byId("cables-count"), mine.cables?.length ? `for side ${letter}, against the floor` : "");
	fillList(byId("cautions"), (s.cautions ?? []).filter((/** @type {string} */ c) => !c.startsWith("Start with the volume")), ""); // which the page says at its beginning
	showFigures();
	keeping.show();
	complaints.show(s, letter);
	if (fresh) {
		sound.changed(s.revision);
		see();
	}
	showVerdict();
	showSound();
}

/** How the file has each take, for as long as nobody has saved another. @type {Record<string, string>} */
let kept = {};
/** What a side is called: its take, and whether that is no longer what the file says. @param {string} side */
function called(side) {
	const take = state.sides[side].take, now = JSON.stringify(board(state.sides[side]).main);
	kept[take] ??= now;
	return kept[take] === now ? take : take + ", moved";
}

/** @param {HTMLElement} list @param {string[]} texts @param {string} none */
function fillList(list, texts, none) {
	const want = texts.length ? texts : none ? [none] : [];
	list.classList.toggle("none", !texts.length);
	if (JSON.stringify([...list.children].map(c => c.textContent)) === JSON.stringify(want)) return;
	list.replaceChildren(...want.map(t => el("li", {}, t)));
}

/** The settings of the block that is chosen. */
function showPanel() {
	const mine = state.sides[sound.side], name = lane.picked, guitar = name === " guitar";
	const jack = seen[sound.side].value?.jacks?.find((/** @type {any} */ j) => guitar ? j.jack.startsWith("guitar") : j.block === name);
	panel.show(name, guitar ? mine.guitar_station : lane.stations.get(name), guitar || lane.isOn(name), jack, { jack: hasJack(sound.side) ? sound.jack : "", jacks: mine.jacks });
}

/** What B does against A, why, and what it costs to have it on the floor. */
function showVerdict() {
	const { A, B } = state.sides, ab = seen.AB, said = ab.of === state.revision ? ab.fault || ab.value?.sentence : "";
	const alike = JSON.stringify([A.lane, A.preset, A.guitar_station]) === JSON.stringify([B.lane, B.preset, B.guitar_station]);
	// words here, numbers in the panel; and of a level one unit, as the player has it
	const short = said.replace(/ \([^)]*\)/g, "").replace("a clear difference: ", "").replace("as it comes out of the chain", "unmatched").replace(/ LU /g, " dB ").replace("B against A:", sound.jack ? "At the output, B against A:" : "B against A:");
	byId("verdict").title = said;
	say(byId("verdict"), alike ? "A and B are the same: move a block of one of them, and hear what that does." : short || "Comparing B with A…");
	byId("verdict").classList.toggle("soft", !alike && !said);
	// the cause: differences undone one at a time; and at which jack to look, where what loads what is another
	const because = seen.because.of === state.revision ? seen.because.value : null, cause = because?.sentence ?? "";
	const why = state.reasons ?? [], jack = why.find((/** @type {string} */ r) => because?.blocks.some((/** @type {string} */ b) => r.startsWith(b + " "))) ?? "";
	say(byId("why"), alike ? "" : cause ? cause + (jack ? " " + jack : "") : seen.because.of === state.revision ? seen.because.fault : "Finding out why…");
	byId("why").classList.toggle("soft", !cause);
	const parts = (because?.parts.length ?? 0) > 1 ? because.parts.map((/** @type {any} */ p) => `${p.text}: undone, ${share(p.gone)}.`) : [];
	fillList(byId("reasons"), [said, cause, ...parts, ...why].filter(Boolean), alike ? "Nothing: A and B are the same." : "It comes as soon as the sound is there.");
	const n = state.sides[sound.side].cables?.length ?? 0;
	byId("see-cables").hidden = !n;
	say(byId("see-cables"), count(n, "cable") + " to move");
}

/** How much of a change goes when one difference is undone. @param {number} gone */
const share = gone => Math.abs(gone) < 0.05 ? "nothing of it goes" : gone < 0 ? "it gets larger" : gone > 1.1 ? "it changes sign" : `${Math.round(100 * gone)} % of it goes`;

let drawnSettings = "";
/** @param {any} mine */
function showSettings(mine) {
	const letter = sound.side, shape = JSON.stringify([letter, state.presets, state.guitars, mine.preset, mine.guitar]);
	if (shape === drawnSettings) return;
	drawnSettings = shape;
	const focus = document.activeElement?.id;
	/** @param {string} id @param {string} label @param {string[]} all @param {string} value @param {(v: string) => any} op @param {string} none */
	const choice = (id, label, all, value, op, none) => {
		const list = all.includes(value) || !value ? all : [value, ...all];
		const select = el("select", { id, onchange: () => edit(op(select.value)) }, ...(list.includes("") ? [] : [el("option", { value: "" }, none)]), ...list.map(v => el("option", { value: v }, v || none)));
		select.value = value;
		return el("label", { class: "field" }, label, " ", select);
	};
	byId("settings").replaceChildren(
		state.presets?.length ? choice("pick-preset", "Preset", state.presets, mine.preset ?? "", v => ({ do: "preset", name: v }), "none") : "",
		state.guitars?.length > 1 ? choice("pick-guitar", "Guitar", state.guitars, mine.guitar ?? "", v => ({ do: "guitar", name: v }), "the first") : "",
		addBlock(),
		el("button", { type: "button", id: "copy", onclick: () => edit({ do: "copy" }) }, `Make ${letter} like ${other()}`));
	if (focus) byId(focus)?.focus?.();
}

/** A new block comes behind the one that is chosen, and is heard. */
function addBlock() {
	if (!state.kinds?.length) return "";
	const select = el("select", { id: "add", "aria-label": "Add a block behind the one that is chosen", onchange: async () => {
		const kind = select.value, side = sound.side, behind = lane.picked;
		select.value = "";
		if (!kind) return;
		const used = new Set(lane.stations.keys());
		let name = kind;
		for (let k = 2; used.has(name); k++) name = `${kind}-${k}`;
		if (!await edit({ do: "add", kind, name }, side)) return;
		const b = board(state.sides[side]), at = used.has(behind) ? without(b, behind).place : { list: "main", index: behind === " guitar" ? -1 : b.main.filter(i => !i.split).length - 1 };
		lane.picked = name;
		order(side, moved(b, name, at.list === "tray" ? { list: "main", index: 0 } : { list: at.list, index: at.index + 1 }), name);
	} }, el("option", { value: "" }, "Add a block…"), ...state.kinds.map((/** @type {any} */ k) => el("option", { value: k.name, title: k.brief }, k.name)));
	return select;
}

function showFigures() {
	const stale = { A: seen.A.of !== state.revision, B: seen.B.of !== state.revision };
	figures.show({ A: seen.A.value, B: seen.B.value }, stale, sound.side);
	byId("legend").replaceChildren(...["A", "B"].map(s => el("span", {}, el("i", { class: `swatch side-${s.toLowerCase()}${s === sound.side ? " sounding" : " other"}` }), `${s}, ${state.sides[s].take}${s === sound.side ? " (sounds)" : ""}`)),
		el("span", { class: "soft", id: "seeing" }, stale[/** @type {"A"} */ (sound.side)] ? seen[sound.side].fault || "computing…" : ""));
	fillList(byId("sentences"), seen[sound.side].value?.sentences ?? [], "They come as soon as the sound is there.");
	showPanel();
	byId("lane").classList.toggle("stale", stale[/** @type {"A"} */ (sound.side)]);
}

/** Asks for the figures that are missing: of the side that sounds, then of the other one; and waits while sound is made, which comes first. */
let waiting = 0;
function see() {
	if (!state || trial.running()) return lookAway();
	const want = [sound.side, "AB", "because", other()].find(s => seen[s].of !== state.revision);
	if (!want || want === other()) sound.fill();
	if (looking && looking.side === want && looking.of === state.revision) return; // it is asked for, or will be
	lookAway();
	if (!want) return;
	if (sound.playing && !sound.holds(sound.side)) {
		waiting = setTimeout(see, 150);
		return;
	}
	const stop = new AbortController(), of = state.revision, me = looking = { side: want, of, stop };
	waiting = setTimeout(async () => {
		try {
			const value = await (want === "AB" ? ask("verdict", { session, side: "B", region }, stop.signal)
				: want === "because" ? ask("because", { session, side: "B", region, respects: seen.AB.value?.respects ?? [] }, stop.signal)
				: ask("figures", { session, side: want, region }, stop.signal));
			seen[want] = { of, value, fault: "" };
		} catch (e) {
			if (stop.signal.aborted) return;
			seen[want] = { of, value: seen[want].value, fault: /** @type {any} */ (e).message };
		}
		if (looking === me) looking = null;
		if (state.revision !== of) return;
		if (!trial.running()) {
			if (want === "AB" || want === "because") showVerdict();
			else lane.figures(seen[sound.side].value), showFigures();
		}
		see();
	}, 60);
}

/** What is asked for, or waits to be, is wanted no more. */
function lookAway() {
	clearTimeout(waiting);
	looking?.stop.abort();
	looking = null;
}

/** The line beside the clock, the buttons of the player, and what the loudness of the sides is. */
function showSound() {
	if (!state) return;
	const o = sound.orders[sound.side], play = byId("play");
	play.classList.toggle("playing", sound.playing);
	say(play.lastElementChild, sound.playing ? "Stop" : "Play");
	if (trial.running()) {
		trial.shown();
		return;
	}
	if (sound.playing) levels.show(o.meta?.channels === 2), seeSpectrum();
	else levels.rest();
	let text = "";
	const slow = o.speed > 0 && o.speed < 1;
	const heardOther = sound.playing && sound.heard.key && sound.heard.key !== o.key;
	if (o.fault) text = o.fault;
	else if (!sound.playing) text = "";
	else if (!o.done || o.revision !== sound.revision) {
		const left = Math.ceil((1 - (o.progress || 0)) * (region[1] - region[0]) / state.recording.rate / o.speed);
		text = "preparing sound" + (o.speed > 0 && left > 1 ? `, about ${left} s` : "") + (heardOther && slow ? "; the old order plays on" : "");
	} else if (sound.waiting) text = "waiting for sound";
	else if (!sound.holds(other())) text = `preparing ${other()}`;
	else if (sound.noise && !sound.hisses()) text = sound.noisy.A.fault || sound.noisy.B.fault ? "without hiss and hum: " + (sound.noisy.A.fault || sound.noisy.B.fault) : "hiss and hum follow";
	const rendering = sound.playing && !o.done;
	say(byId("state"), text);
	byId("state").classList.toggle("slow", slow && rendering);
	const bar = byId("progress");
	bar.hidden = !rendering;
	bar.style.setProperty("--done", String(o.progress || 0));
	const a = sound.orders.A.meta, b = sound.orders.B.meta;
	byId("noise").checked = sound.noise;
	byId("matched").checked = !sound.trueLevels;
	byId("true-levels").checked = sound.trueLevels;
	if (a?.gain && b?.gain) {
		const d = 20 * Math.log10(a.gain / a.true_gain * b.true_gain / b.gain); // how much louder B is unmatched
		const here = sound.jack ? " here" : "", size = num(Math.abs(d), 1, "dB"), more = Math.abs(d) < 0.05 ? `A and B are equally loud unmatched${here}` : `Unmatched, ${d > 0 ? "B" : "A"} is ${size} louder${here}`;
		say(byId("match"), Math.abs(d) < 0.05 ? more + "." : sound.trueLevels ? more + ", and so you hear it." : more + ".");
	} else say(byId("match"), sound.begun ? "" : "Matched: you judge the tone, not the level.");
}

function showRegion() {
	const rate = state.recording.rate, whole = region[0] === 0 && region[1] === state.recording.frames;
	say(byId("region-text"), whole ? "Drag on the waveform to loop a part of it." : `Loops ${time(region[0] / rate)} to ${time(region[1] / rate)} s.`);
	byId("whole").hidden = whole;
	say(byId("length"), `of ${time(state.recording.frames / rate)} s`);
	tick();
}

let drawing = 0;
/** The live spectrum, as long as it is looked at. */
function seeSpectrum() {
	cancelAnimationFrame(drawing);
	let last = 0;
	/** @param {number} now */
	const again = now => {
		if (panel.tab === "spectrum" && now - last > 50) {
			last = now;
			figures.live(sound.spectrum(figures.thirds()));
		}
		if (sound.playing) drawing = requestAnimationFrame(again);
		else figures.live(null);
	};
	drawing = requestAnimationFrame(again);
}

let ticking = false;
function tick() {
	const p = sound.position();
	wave.showPlace(p);
	if (state) say(byId("clock"), time(p / state.recording.rate));
	if (sound.playing && !ticking) {
		ticking = true;
		const again = () => {
			ticking = false;
			if (sound.playing) tick();
		};
		requestAnimationFrame(again);
	}
}

sound.onchange = () => {
	showSound();
	tick();
};

// By hand and by key.

const toggle = async () => {
	try {
		if (sound.playing) sound.stop();
		else await sound.play();
	} catch (e) {
		notice("This browser cannot play the sound: " + (/** @type {any} */ (e)?.message ?? e), { fault: true });
	}
	see();
};

/** @param {boolean} on */
const setTrue = on => {
	sound.setTrueLevels(on);
	announce(on ? "True loudness" : "Matched loudness");
};

byId("play").addEventListener("click", toggle);
byId("hear-A").addEventListener("click", () => hear("A"));
byId("hear-B").addEventListener("click", () => hear("B"));
byId("undo").addEventListener("click", () => edit({ do: "undo" }));
byId("redo").addEventListener("click", () => edit({ do: "redo" }));
byId("matched").addEventListener("change", () => setTrue(false));
byId("true-levels").addEventListener("change", () => setTrue(true));
byId("noise").addEventListener("change", () => sound.setNoise(byId("noise").checked));
byId("whole").addEventListener("click", () => wave.set(0, state.recording.frames));
byId("see-cables").addEventListener("click", () => panel.open("why"));
byId("help").addEventListener("click", () => byId("help-box").showModal());
byId("test").addEventListener("click", () => trial.start());
byId("to-end").addEventListener("click", () => {
	hearAt("");
	byId("test").focus();
});
byId("volume").addEventListener("input", () => {
	const db = Number(byId("volume").value), text = db <= -60 ? "silent" : num(db, 0, "dB");
	sound.setVolume(db);
	say(byId("volume-text"), text);
	byId("volume-hint").hidden = true;
	byId("volume").setAttribute("aria-valuetext", db <= -60 ? "silent" : db + " decibels");
});

/** A take by its number in the file: the side that has it is heard, or else the side that sounds gets it. @param {number} number */
async function hearTake(number) {
	const name = state.takes[number - 1], letter = ["A", "B"].find(s => state.sides[s].take === name);
	if (!name) announce(`There is no take ${number}.`);
	else if (letter) hear(letter);
	else if (await edit({ do: "take", name })) announce(`Side ${sound.side}, ${name}`);
}

/** Behind the block that is chosen, or before it; where it is heard there already, the output. @param {string} end */
function hearPicked(end) {
	const jack = lane.picked === " guitar" ? "guitar" : lane.picked + end;
	if (sound.jack === jack) hearAt("");
	else if (state.sides[sound.side].jacks.includes(jack)) hearAt(jack);
	else announce(`The signal does not run through ${lane.picked}.`);
}

document.addEventListener("keydown", e => {
	if (document.querySelector("dialog[open]") || !state) return;
	const on = /** @type {HTMLElement} */ (e.target), k = e.key.toLowerCase(), command = e.ctrlKey || e.metaKey;
	const typing = on.matches("input[type=text], select, textarea");
	if (command && !e.altKey) {
		if (typing && k === "z") return;
		if (k === "z") edit({ do: e.shiftKey ? "redo" : "undo" });
		else if (k === "y") edit({ do: "redo" });
		else if (k === "s") keeping.open();
		else return;
		e.preventDefault();
		return;
	}
	if (!byId("keys").checked || e.altKey || typing) return;
	if (k === " ") {
		if (on.matches("button, summary, a, input[type=checkbox], input[type=radio], [tabindex='0'][role=region]")) return;
		toggle();
	} else if (k === "x") hear(other());
	else if (k === "a" || k === "b") hear(k.toUpperCase());
	else if (k >= "1" && k <= "9") hearTake(Number(k));
	else if (k === "n") {
		byId("noise").click();
		announce(sound.noise ? "With hiss and hum" : "Without hiss and hum");
	} else if (k === "h") hearPicked(e.shiftKey ? ".in" : ".out");
	else if (k === "t") setTrue(!sound.trueLevels);
	else if (k === "l") byId("lane").querySelector(".picked .grip, .grip")?.focus();
	else if (k === "?") byId("help-box").showModal();
	else if (k === "[") wave.set(sound.position(), region[1]);
	else if (k === "]") wave.set(region[0], sound.position());
	else if (k === "\\") wave.set(0, state.recording.frames);
	else if (k === "arrowleft" || k === "arrowright") {
		if (on.matches("input, [role=slider]")) return;
		sound.seek(sound.position() + (k === "arrowleft" ? -1 : 1) * (e.shiftKey ? 5 : 1) * state.recording.rate);
	} else return;
	e.preventDefault();
});

// Beginning.

/** Whoever has been here once gets the steps in a line. A cookie, since every start of the program has another port, and so another store. */
if (/(^|; )known=1/.test(document.cookie)) byId("start").classList.add("known");
document.cookie = "known=1; path=/; max-age=31536000; SameSite=Strict";

/** The same window, loaded anew, goes on where it was, as long as the program has it: asked to show the take that it shows, it answers with all it has. */
async function again() {
	const old = JSON.parse(sessionStorage.getItem("session") ?? "null");
	if (!old || performance.getEntriesByType("navigation")[0]?.type === "navigate") return null;
	try {
		return { session: old.session, state: await ask("do", { session: old.session, side: "A", op: { do: "take", name: old.take } }) };
	} catch {
		return null;
	}
}
addEventListener("beforeunload", e => { if (state?.dirty) e.preventDefault(); });

let opening = false;
async function open() {
	if (opening) return;
	opening = true;
	try {
		const r = await again() ?? await ask("open", {});
		session = sound.session = r.session;
		if (r.state.start) {
			byId("others").href = r.state.start;
			byId("others").hidden = false;
		}
		let lost = false;
		const source = listen(session, {
			state: s => {
				const before = state?.revision;
				show(s);
				if (before !== s.revision) {
					notice(`${s.file} changed on disk; the page follows.`, { id: "followed", passing: true });
					announce("The file changed on disk. The page follows.");
				}
			},
			export: e => keeping.exported(e),
			disk: d => {
				if (state) show({ ...state, disk: d.disk }, true);
				if (d.faults) notice(`${state.file} changed on disk, and cannot be read: ${d.faults}`, { id: "disk", fault: true });
				else if (d.disk === "gone") notice(`${state.file} is gone from the disk. Saving writes it anew.`, { id: "disk", fault: true });
				else if (d.disk === "changed") keeping.changed();
				else unsay("disk");
			},
			draft: d => {
				if (d.fault) notice(`No draft of your changes can be kept: ${d.fault}. Save them, or export the chain file to another disk.`, { id: "draft", fault: true });
				else unsay("draft");
			},
			lost: gone => {
				if (gone && !lost) {
					notice("The program does not answer. If it was stopped, start it again and open its new address.", { id: "lost", fault: true });
					if (source.readyState === EventSource.CLOSED) opening = false;
				}
				if (!gone && lost) unsay("lost");
				lost = gone;
			},
		});
		region = [0, 1];
		show(r.state);
		keeping.drafts(r.drafts ?? []);
	} catch (e) {
		fault(e);
	}
}

/** For looking from the console. */
Object.assign(globalThis, { drywire: { sound, lane, panel, wave, figures, state: () => state, session: () => session } });
addEventListener("resize", tick);
open();
