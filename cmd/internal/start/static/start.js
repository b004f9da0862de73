// @ts-check
// What to begin with: a question, a board of one's own, or a new one. The other end is package start.

import { byId, el, say } from "./dom.js";
import { ask, bring, Refusal } from "./wire.js";

/**
 * @type {{folder: string, questions: any[], boards: any[], most: number, pickups: string[],
 *   pedals: {Kind: string, Group: string, Does: string}[], recordings: string[]}}
 */
let choices;

/** @type {string[]} kinds, from the guitar on */
let chain = [];

/** @param {unknown} e */
function fault(e) {
	const p = byId("fault");
	p.hidden = false;
	say(p, e instanceof Refusal ? e.message : "The program does not answer. If it was stopped, start it again and open its new address.");
	say(byId("busy"), "");
	p.scrollIntoView({ block: "nearest" });
}

/** Asks for a board's page and goes there. @param {string} what @param {object} body */
async function go(what, body) {
	byId("fault").hidden = true;
	say(byId("busy"), "Opening…");
	try {
		location.assign((await ask(what, body)).address);
	} catch (e) {
		fault(e);
	}
}

/** @param {string} title @param {string} note @param {() => void} then */
const entry = (title, note, then) => el("li", {}, el("button", { type: "button", onclick: then }, el("span", {}, title), el("small", {}, note)));

/** The everyday name of a pedal, and what one hears. @param {string} kind */
function words(kind) {
	const does = choices.pedals.find(p => p.Kind === kind)?.Does ?? kind;
	const [name, rest] = does.split(": ");
	return { name, rest: rest ?? "" };
}

/** @param {number} at @param {number} by */
function move(at, by) {
	const to = at + by;
	if (to < 0 || to >= chain.length) return;
	[chain[at], chain[to]] = [chain[to], chain[at]];
	draw();
	byId("chain").children[to].querySelector(by < 0 ? ".up" : ".down").focus();
	say(byId("said"), `${words(chain[to]).name} is number ${to + 1} of ${chain.length}`);
}

/** @param {string} kind */
function add(kind) {
	if (chain.length >= choices.most) {
		say(byId("said"), `${choices.most} pedals are the most.`);
		return;
	}
	chain.push(kind);
	draw();
	say(byId("said"), `${words(kind).name} is number ${chain.length}`);
}

function draw() {
	byId("none").hidden = chain.length > 0;
	byId("chain").replaceChildren(...chain.map((kind, k) => {
		const name = words(kind).name;
		return el("li", {}, el("b", {}, name),
			el("button", { type: "button", class: "up", "aria-label": `${name} earlier`, title: "earlier", onclick: () => move(k, -1) }, "‹"),
			el("button", { type: "button", class: "down", "aria-label": `${name} later`, title: "later", onclick: () => move(k, 1) }, "›"),
			el("button", { type: "button", "aria-label": `take ${name} out`, title: "take it out", onclick: () => {
				chain.splice(k, 1);
				draw();
				byId("find").focus();
			} }, "×"));
	}));
}

function palette() {
	const wanted = byId("find").value.trim().toLowerCase();
	/** @type {Map<string, any[]>} */
	const groups = new Map();
	for (const p of choices.pedals) {
		if (wanted && !p.Does.toLowerCase().includes(wanted)) continue;
		const { name, rest } = words(p.Kind);
		if (!groups.has(p.Group)) groups.set(p.Group, []);
		groups.get(p.Group)?.push(el("button", { type: "button", onclick: () => add(p.Kind) }, el("b", {}, name), rest ? `: ${rest}` : ""));
	}
	byId("palette").replaceChildren(...[...groups].map(([group, list]) => el("div", {}, el("h2", {}, group), ...list)));
	if (!groups.size) byId("palette").replaceChildren(el("p", { class: "soft" }, "Nothing does that: try another word."));
}

/** @param {string[]} names @param {string} chosen */
function recordings(names, chosen) {
	byId("recording").replaceChildren(el("option", { value: "" }, "a riff that comes with the program"), ...names.map(n => el("option", { value: n, selected: n === chosen }, n)));
	byId("peak-field").hidden = byId("recording").value === "";
}

/** Puts a recording of one's own beside the chain files. @param {File} file */
async function take(file) {
	byId("fault").hidden = true;
	say(byId("busy"), `Reading ${file.name}…`);
	try {
		const value = await bring(file);
		if (!choices.recordings.includes(value.name)) choices.recordings.push(value.name);
		recordings(choices.recordings, value.name);
		say(byId("busy"), `${value.name}: ${value.seconds.toFixed(1)} s${value.channels > 1 ? ", its left side" : ""}.`);
	} catch (e) {
		fault(e);
	}
}

/** @param {number} n */
const takes = n => n === 1 ? "1 take" : `${n} takes`;

/** Lists the boards, the last ones first; those of the folder by their names alone. @param {number} most */
function boards(most) {
	const all = choices.boards, shown = all.slice(0, most), folder = choices.folder + "/";
	const where = (/** @type {string} */ path) => path.startsWith(folder) ? path.slice(folder.length) : path;
	byId("boards").replaceChildren(...shown.map(b => entry(b.title || b.name, `${where(b.path)} · ${takes(b.takes)}`, () => go("board", { path: b.path }))));
	const rest = byId("all");
	rest.hidden = shown.length === all.length;
	say(rest, `All ${all.length} boards`);
}

/** @param {boolean} on */
function building(on) {
	byId("form").hidden = !on;
	byId("choices").hidden = on;
	byId("build").hidden = on;
	byId("fault").hidden = true;
	say(byId("busy"), "");
	say(byId("heading"), on ? "Build my board" : "What do you want to find out?");
	(on ? byId("heading") : byId("build")).focus();
}

async function begin() {
	try {
		choices = await ask("choices", {});
	} catch (e) {
		fault(e);
		return;
	}
	byId("boards-part").hidden = choices.boards.length === 0;
	boards(6);
	byId("questions").replaceChildren(...choices.questions.map(q => entry(q.title || q.name, `${q.name} · ${takes(q.takes)}`, () => go("question", { name: q.name }))));
	byId("pickup").replaceChildren(...choices.pickups.map(p => el("option", { selected: p === "humbucker" }, p)));
	say(byId("where"), `It is written into ${choices.folder}, as a chain file that you can read and change.`);
	recordings(choices.recordings, "");
	palette();
	draw();
}

byId("build").addEventListener("click", () => building(true));
byId("all").addEventListener("click", () => {
	boards(choices.boards.length);
	byId("boards").children[6].querySelector("button").focus();
});
byId("back").addEventListener("click", () => building(false));
byId("find").addEventListener("input", palette);
byId("find").addEventListener("keydown", e => {
	if (e.key !== "Enter") return;
	e.preventDefault();
	byId("palette").querySelector("button")?.click();
	byId("find").value = "";
	palette();
});
byId("recording").addEventListener("change", () => byId("peak-field").hidden = byId("recording").value === "");
byId("own").addEventListener("change", () => {
	const file = byId("own").files[0];
	if (file) take(file);
	byId("own").value = "";
});
for (const kind of ["dragover", "drop", "dragleave"]) {
	addEventListener(kind, event => {
		const e = /** @type {DragEvent} */ (event);
		e.preventDefault();
		document.body.classList.toggle("over", kind === "dragover");
		const file = e.dataTransfer?.files[0];
		if (kind !== "drop" || !file) return;
		building(true);
		take(file);
	});
}
byId("form").addEventListener("submit", e => {
	e.preventDefault();
	const of = name => /** @type {HTMLInputElement} */ (document.querySelector(`input[name=${name}]:checked`)).value;
	go("build", {
		name: byId("name").value, title: "", recording: byId("recording").value, peak: Number(byId("peak").value), pickup: byId("pickup").value,
		cable: Number(byId("cable").value.replace(",", ".")), pedals: chain, amplifier: of("amp") === "yes", supply: of("supply"),
	});
});
begin();
