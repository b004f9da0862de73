// @ts-check
// The listening page: it shows the state that the program sends, plays the sound that it sends, and says what was wished. Start reading here; sound.js and
// worklet.js play, lane.js draws the order, wave.js the recording, plots.js the figures, trial.js is the blind test, keeping.js saves.
import { ask, listen, Refusal } from "./wire.js";
import { byId, el, say, num, time, count } from "./dom.js";
import { Sound } from "./sound.js";
import { Lane } from "./lane.js";
import { Wave } from "./wave.js";
import { Figures } from "./plots.js";
import { Trial } from "./trial.js";
import { Keeping } from "./keeping.js";
import { board, entries, line, strays, words } from "./order.js";

/** @type {any} */
let state = null;
let session = "";
let region = [0, 1];
let regionOf = "";
/** Figures of the sides, and of which revision they are. @type {Record<string, {of: number, value: any, fault: string}>} */
const seen = { A: { of: -1, value: null, fault: "" }, B: { of: -1, value: null, fault: "" } };
/** @type {{side: string, of: number, stop: AbortController} | null} */
let looking = null;
/** Edits on their way, one after the other; of a slider only the last one. @type {{side: string, op: any, done: ((ok: boolean) => void) | null}[]} */
const queue = [];
let sending = false;

const sound = new Sound("");

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
	notice(text, { id: "fault", fault: true });
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
		} else queue.push({ side, op, done });
		pump();
	});
}

async function pump() {
	if (sending) return;
	sending = true;
	for (let next = queue.shift(); next; next = queue.shift()) {
		let ok = false;
		try {
			const s = await ask("do", { session, side: next.side, op: next.op });
			ok = true;
			unsay("fault");
			show(s);
		} catch (e) {
			fault(e);
			show(state, true); // what was drawn ahead is drawn back
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
	seen.A.of = seen.B.of = -1;
	showRegion();
	show(state, true);
	see();
}

const lane = new Lane(byId("lane"), {
	op: op => edit(op),
	order: async (b, block) => {
		const ok = await edit({ do: "order", order: entries(b) });
		announce(ok ? `${block}, ${words(board(state.sides[sound.side]), block)}.` : `${block} stays where it was. ${byId("notices").lastElementChild?.querySelector("p")?.textContent ?? ""}`);
	},
	say: announce,
});
const wave = new Wave(byId("picture"), byId("times"), { seek: f => { sound.seek(f); tick(); }, region: loop });
const figures = new Figures(byId("figures"));
const trial = new Trial({ session: () => session, region: () => region, sound, fault, over: () => { show(state, true); see(); } });
const keeping = new Keeping({ session: () => session, side: () => sound.side, state: () => state, show: s => show(s), notice, announce, fault });

// What is shown.

/** @param {any} s @param {boolean} [again] */
function show(s, again) {
	if (!s) return;
	const fresh = !state || s.revision !== state.revision || s.recording.name !== state.recording.name;
	if (state && s.revision < state.revision && !again) return; // an answer that was overtaken
	state = s;
	if (trial.running()) return;
	const letter = sound.side, mine = s.sides[letter];
	document.title = (s.dirty ? "• " : "") + s.title + " – drywire";
	say(byId("title"), s.title);
	say(byId("file"), s.file);
	say(byId("saved"), s.disk === "gone" ? "gone from the disk" : s.disk === "changed" ? "changed on disk" : s.dirty ? "not saved yet" : "saved");
	byId("saved").classList.toggle("dirty", s.dirty || s.disk !== "same");
	byId("undo").disabled = !s.undo;
	byId("redo").disabled = !s.redo;
	const key = s.recording.name + s.recording.frames;
	wave.show(s.recording, s.longest);
	if (key !== regionOf) {
		regionOf = key;
		region = s.region;
		wave.showRegion(region);
		sound.setRegion(region, s.recording.rate);
		showRegion();
	}
	for (const side of ["A", "B"]) {
		const b = byId("hear-" + side);
		b.setAttribute("aria-pressed", String(side === letter));
		say(byId("name-" + side), s.sides[side].take);
	}
	document.documentElement.dataset.side = letter;
	showSides();
	showSettings(mine);
	lane.show(letter, mine, seen[letter].value);
	byId("lane").classList.toggle("stale", seen[letter].of !== s.revision);
	say(byId("lane-side"), `side ${letter}, ${mine.take}`);
	fillList(byId("sentences"), mine.sentences ?? [], "Nothing yet. Move a block: where the new order changes what loads what, it is said here.");
	fillList(byId("cables"), (mine.cables ?? []).map((/** @type {any} */ c) => c.text), "None: the order is the one on the floor.");
	say(byId("cables-count"), mine.cables?.length ? count(mine.cables.length, "move") : "");
	fillList(byId("cautions"), (s.cautions ?? []).filter((/** @type {string} */ c) => !c.startsWith("Start with the volume")), ""); // which the page says at its beginning
	showFigures();
	keeping.show();
	if (fresh) {
		sound.changed(s.revision);
		see();
	}
	showSound();
}

/** @param {HTMLElement} list @param {string[]} texts @param {string} none */
function fillList(list, texts, none) {
	const want = texts.length ? texts : none ? [none] : [];
	list.classList.toggle("none", !texts.length);
	if (JSON.stringify([...list.children].map(c => c.textContent)) === JSON.stringify(want)) return;
	list.replaceChildren(...want.map(t => el("li", {}, t)));
}

let drawnSides = "";
function showSides() {
	const orders = { A: line(board(state.sides.A)), B: line(board(state.sides.B)) };
	const shape = JSON.stringify([orders, sound.side, state.sides.A.take, state.sides.B.take, flatOff("A"), flatOff("B")]);
	if (shape === drawnSides) return;
	drawnSides = shape;
	const moved = strays(orders.A.map(x => x.name), orders.B.map(x => x.name));
	byId("sides").replaceChildren(...["A", "B"].map(side => {
		const off = flatOff(side), o = orders[/** @type {"A" | "B"} */ (side)], paths = [...new Set(o.map(x => x.path))];
		const chips = (/** @type {{name: string}[]} */ list) => list.map(x => el("li", { class: (moved.has(x.name) ? "moved" : "") + (off.includes(x.name) ? " off" : "") }, x.name));
		return el("div", { class: `order side-${side.toLowerCase()}${side === sound.side ? " sounding" : ""}`, onclick: () => hear(side) },
			el("span", { class: "letter", "aria-hidden": "true" }, side),
			el("div", { class: "about" }, el("p", { class: "take" }, el("span", { class: "unseen" }, `Side ${side}: `), el("b", {}, state.sides[side].take), " ", el("span", { class: "soft" }, side === sound.side ? "sounds" : "")),
				...paths.map(p => el("ol", { class: "flow", "aria-label": p ? `${p} path` : `Order of side ${side}` }, el("li", { class: "end" }, p || "guitar"), ...chips(o.filter(x => x.path === p)), el("li", { class: "end" }, p ? "out" : paths.length > 1 ? "split" : "out")))));
	}));
}

/** @param {string} side @returns {string[]} */
function flatOff(side) {
	/** @type {string[]} */
	const off = [];
	/** @param {any[]} list */
	const walk = list => {
		for (const s of list ?? []) {
			if (s.split) walk(s.split.left), walk(s.split.right);
			else if (s.off) off.push(s.block);
			for (const l of s.loops ?? []) walk(l.blocks);
		}
	};
	walk(state.sides[side].lane);
	return off;
}

let drawnSettings = "";
/** @param {any} mine */
function showSettings(mine) {
	const letter = sound.side, shape = JSON.stringify([letter, state.takes, state.presets, state.guitars, mine.take, mine.preset, mine.guitar]);
	if (shape === drawnSettings) return;
	drawnSettings = shape;
	const focus = document.activeElement?.id;
	/** @param {string} id @param {string} label @param {string[]} all @param {string} value @param {(v: string) => any} op @param {string} none */
	const pick = (id, label, all, value, op, none) => {
		const list = all.includes(value) || !value ? all : [value, ...all];
		const select = el("select", { id, onchange: () => edit(op(select.value)) }, ...(none && !list.includes("") ? [el("option", { value: "" }, none)] : []), ...list.map(v => el("option", { value: v }, v || none)));
		select.value = value;
		return el("label", { class: "field" }, label, " ", select);
	};
	byId("settings").replaceChildren(
		pick("pick-take", "Take", state.takes, mine.take, v => ({ do: "take", name: v }), ""),
		state.presets?.length ? pick("pick-preset", "Preset", state.presets, mine.preset ?? "", v => ({ do: "preset", name: v }), "none") : "",
		state.guitars?.length > 1 ? pick("pick-guitar", "Guitar", state.guitars, mine.guitar ?? "", v => ({ do: "guitar", name: v }), "the first") : "",
		el("button", { type: "button", id: "copy", onclick: () => edit({ do: "copy" }) }, `Make ${letter} like ${other()}`),
		addBlock());
	if (focus) byId(focus)?.focus?.();
}

function addBlock() {
	if (!state.kinds?.length) return "";
	const select = el("select", { id: "add", "aria-label": "Add a block to the tray", onchange: async () => {
		const kind = select.value;
		select.value = "";
		if (!kind) return;
		const used = new Set(lane.stations.keys());
		let name = kind;
		for (let k = 2; used.has(name); k++) name = `${kind}-${k}`;
		if (await edit({ do: "add", kind, name })) announce(`${name} is in the tray.`);
	} }, el("option", { value: "" }, "Add a block…"), ...state.kinds.map((/** @type {any} */ k) => el("option", { value: k.name, title: k.brief }, k.name)));
	return select;
}

function showFigures() {
	const stale = { A: seen.A.of !== state.revision, B: seen.B.of !== state.revision };
	figures.show({ A: seen.A.value, B: seen.B.value }, stale, sound.side);
	byId("legend").replaceChildren(...["A", "B"].map(s => el("span", {}, el("i", { class: `swatch side-${s.toLowerCase()}${s === sound.side ? " sounding" : " other"}` }), `${s}, ${state.sides[s].take}${s === sound.side ? " (sounds)" : ""}`)),
		el("span", { class: "soft", id: "seeing" }, stale[/** @type {"A"} */ (sound.side)] ? seen[sound.side].fault || "computing…" : ""));
	byId("lane").classList.toggle("stale", stale[/** @type {"A"} */ (sound.side)]);
}

/** Asks for the figures that are missing: of the side that sounds, then of the other one; and waits while sound is made, which comes first. */
let waiting = 0;
function see() {
	clearTimeout(waiting);
	if (!state || trial.running()) return;
	const want = [sound.side, other()].find(s => seen[s].of !== state.revision);
	if (looking && (looking.side !== want || looking.of !== state.revision)) looking.stop.abort(), looking = null;
	if (!want || looking) return;
	if (sound.playing && !sound.holds(sound.side)) {
		waiting = setTimeout(see, 150);
		return;
	}
	const stop = new AbortController(), of = state.revision, me = looking = { side: want, of, stop };
	waiting = setTimeout(async () => {
		try {
			const value = await ask("figures", { session, side: want, region }, stop.signal);
			seen[want] = { of, value, fault: "" };
		} catch (e) {
			if (stop.signal.aborted) return;
			seen[want] = { of, value: seen[want].value, fault: /** @type {any} */ (e).message };
		}
		if (looking === me) looking = null;
		if (state.revision !== of) return;
		if (!trial.running()) {
			lane.figures(seen[sound.side].value);
			showFigures();
		}
		see();
	}, 60);
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
	let text = "";
	const slow = o.speed > 0 && o.speed < 1;
	const speed = o.speed > 0 ? `${num(o.speed, 1)}\u00d7 real time` : "";
	const heardOther = sound.playing && sound.heard.key && sound.heard.key !== o.key;
	if (o.fault) text = o.fault;
	else if (!sound.playing) text = "";
	else if (!o.done || o.revision !== sound.revision) {
		const done = o.progress > 0 && o.progress < 1 ? `, ${num(100 * o.progress, 0)} %` : "";
		text = `rendering ${sound.side}${done}${speed ? ", " + speed : ""}` + (heardOther && slow ? "; the old order plays until the new one can go on" : sound.waiting ? "; it begins as soon as it can go on" : "");
	} else if (sound.waiting) text = "waiting for sound";
	else if (!sound.holds(other())) text = `computing side ${other()}, for an instant flip`;
	const rendering = sound.playing && !o.done;
	say(byId("state"), text);
	byId("state").classList.toggle("slow", slow && rendering);
	const bar = byId("progress");
	bar.hidden = !rendering;
	bar.style.setProperty("--done", String(o.progress || 0));
	const a = sound.orders.A.meta, b = sound.orders.B.meta;
	byId("matched").checked = !sound.trueLevels;
	byId("true-levels").checked = sound.trueLevels;
	if (a?.gain && b?.gain) {
		const d = 20 * Math.log10(a.gain / a.true_gain * b.true_gain / b.gain); // how much louder B is in truth
		const size = num(Math.abs(d), 1, "dB"), more = Math.abs(d) < 0.05 ? "A and B are equally loud unmatched" : `Unmatched, ${d > 0 ? "B" : "A"} is ${size} louder`;
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
byId("whole").addEventListener("click", () => wave.set(0, state.recording.frames));
byId("help").addEventListener("click", () => byId("help-box").showModal());
byId("test").addEventListener("click", () => trial.start());
byId("volume").addEventListener("input", () => {
	const db = Number(byId("volume").value), text = db <= -60 ? "silent" : num(db, 0, "dB");
	sound.setVolume(db);
	say(byId("volume-text"), text);
	byId("volume").setAttribute("aria-valuetext", db <= -60 ? "silent" : db + " decibels");
});

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
	else if (k === "t") setTrue(!sound.trueLevels);
	else if (k === "l") byId("lane").querySelector(".grip")?.focus();
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

let opening = false;
async function open() {
	if (opening) return;
	opening = true;
	try {
		const r = await ask("open", {});
		session = sound.session = r.session;
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
			disk: d => {
				if (state) show({ ...state, disk: d.disk }, true);
				if (d.faults) notice(`${state.file} changed on disk, and cannot be read: ${d.faults}`, { id: "disk", fault: true });
				else if (d.disk === "gone") notice(`${state.file} is gone from the disk. Saving writes it anew.`, { id: "disk", fault: true });
				else if (d.disk === "changed") keeping.changed();
				else unsay("disk");
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
	} catch (e) {
		fault(e);
	}
}

/** For whoever wants to look from the console. */
Object.assign(globalThis, { drywire: { sound, lane, wave, figures, state: () => state, session: () => session } });
addEventListener("resize", tick);
open();
