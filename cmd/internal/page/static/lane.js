// @ts-check
// The board: the drawn order of a side, along which the signal runs from the guitar to the amplifiers. Each block is a compact row; rows are moved by their
// grips and by keyboard, into loops, paths and the tray too. The lane shows what it is given and reports what was asked for; it decides nothing.
import { el, svg, say, num } from "./dom.js";
import { drag } from "./drag.js";
import { board, lists, moved, places, same, where, without, words } from "./order.js";

/** The scale of levels in every row, in dBu. */
const low = -120, high = 20;
/** @param {number} dbu */
const along = dbu => 100 * (Math.min(high, Math.max(low, dbu)) - low) / (high - low);
/** More rows than this stand in two columns, and then in three. */
const tall = 11;

const gripMark = () => svg("svg", { width: 12, height: 18, viewBox: "0 0 12 18", "aria-hidden": "true" },
	...[3, 9, 15].flatMap(y => [3, 9].map(x => svg("circle", { cx: x, cy: y, r: 1.6 }))));

/** A number of a row, with its meaning for screen readers. @param {string} name @param {string} cls */
const cell = (name, cls) => {
	const value = el("span", { class: "v" });
	return { root: el("p", { class: "cell " + cls }, el("span", { class: "unseen" }, name + " "), value), value };
};

/** One line of the lane. */
class Row {
	/** @param {Lane} lane @param {string} name @param {boolean} movable */
	constructor(lane, name, movable) {
		this.name = name;
		const text = movable ? name : "guitar";
		this.kind = el("span", { class: "kindof" });
		this.noise = el("i", { class: "noise" });
		this.span = el("i", { class: "span" });
		this.room = el("i", { class: "room" });
		this.ceiling = el("i", { class: "ceiling" });
		this.scale = el("div", { class: "scale", "aria-hidden": "true" }, this.room, this.noise, this.span, this.ceiling);
		this.level = cell("level", "level");
		this.headroom = cell("headroom", "headroom");
		this.adds = cell("noise it adds", "adds");
		this.pick = el("button", { type: "button", class: "pick", "aria-pressed": "false", onclick: () => lane.wish.pick(name) }, el("b", { class: "name" }, text), " ", this.kind);
		this.loading = el("span", { class: "loading", hidden: true }, el("span", { class: "unseen" }));
		this.ear = el("span", { class: "ear", hidden: true }, el("span", { class: "unseen" }));
		this.grip = movable ? el("button", { class: "grip", type: "button", "aria-describedby": "grip-help", onpointerdown: e => lane.take(e, name), onkeydown: e => lane.key(e, name) }, gripMark()) : el("span", { class: "node", "aria-hidden": "true" });
		this.in = movable ? el("input", { type: "checkbox", onchange: () => lane.wish.op({ do: "bypass", block: name, on: !this.in.checked }) }) : null;
		this.box = el("div", { class: "box", onclick: (/** @type {MouseEvent} */ e) => { if (!(/** @type {Element} */ (e.target)).closest("button, label, input")) lane.wish.pick(name); } },
			this.pick, this.scale, this.level.root, this.headroom.root, this.adds.root,
			this.in ? el("label", { class: "check in" }, this.in, el("span", {}, "in"), el("span", { class: "unseen" }, " the signal: " + name)) : el("span"));
		this.main = el("div", { class: "main-row" }, el("div", { class: "rail" }, this.loading, this.grip, this.ear), this.box);
		this.within = el("div", { class: "within" });
		this.root = el("li", { class: "station", "data-block": name }, this.main, this.within);
	}

	/** @param {any} s station or guitar @param {any} jack @param {any} noise @param {boolean} on whether the signal runs through it */
	show(s, jack, noise, on) {
		say(this.kind, s.kind && s.kind !== this.name ? s.kind : "");
		this.pick.title = s.brief ?? "";
		this.root.classList.toggle("off", Boolean(s.off));
		this.root.classList.toggle("idle", !on);
		if (this.in) {
			this.in.checked = on && !s.off;
			this.in.disabled = !on;
		}
		say(this.loading.firstElementChild, s.loading ?? "");
		this.loading.title = s.loading ?? "";
		this.loading.hidden = !s.loading;
		this.measure(s, on ? jack : null, on ? noise : null, on);
	}

	/** @param {any} s @param {any} jack @param {any} noise @param {boolean} on */
	measure(s, jack, noise, on) {
		const j = jack ?? {}, has = Number.isFinite(j.peak_dbu);
		this.scale.classList.toggle("empty", !has);
		if (has) {
			const rms = Number.isFinite(j.rms_dbu) ? j.rms_dbu : j.peak_dbu, top = Number.isFinite(j.ceiling_dbu) ? j.ceiling_dbu : null;
			this.span.style.left = along(rms) + "%";
			this.span.style.width = Math.max(0.6, along(j.peak_dbu) - along(rms)) + "%";
			this.noise.style.width = Number.isFinite(j.noise_dbu) ? along(j.noise_dbu) + "%" : "0";
			this.ceiling.hidden = this.room.hidden = top === null || top > high + 20;
			if (top !== null) {
				this.ceiling.style.left = along(top) + "%";
				this.room.style.left = along(Math.min(top, j.peak_dbu)) + "%";
				this.room.style.width = Math.max(0, along(top) - along(j.peak_dbu)) + "%";
			}
		}
		const over = has && Number.isFinite(j.headroom_db) && j.headroom_db < 0 && !s.off;
		this.scale.classList.toggle("over", over);
		if (over && Number.isFinite(j.ceiling_dbu)) {
			this.room.style.left = along(j.ceiling_dbu) + "%";
			this.room.style.width = along(j.peak_dbu) - along(j.ceiling_dbu) + "%";
		}
		say(this.level.value, has ? num(j.peak_dbu, 1, "dBu") : "");
		this.level.root.title = (j.meters ?? []).map((/** @type {any} */ m) => `${m.name} ${m.value}`).join("\n");
		say(this.headroom.value, has && !s.off && this.name !== " guitar" ? Number.isFinite(j.headroom_db) ? over ? num(-j.headroom_db, 0, "dB") + " over" : num(j.headroom_db, 0, "dB") + " left" : "no limit" : s.off ? "bypassed" : on ? "" : "out");
		const coloured = !over && has && !s.off && Number.isFinite(j.colour_dbu) && j.colour_dbu < j.peak_dbu;
		this.headroom.root.classList.toggle("over", over);
		this.headroom.root.title = over ? "Over its ceiling: it breaks up" + (j.over ? `, ${num(100 * j.over, 1)} % of the time` : "") : coloured ? `It colours: the peaks are ${num(j.peak_dbu - j.colour_dbu, 0, "dB")} over where that begins` : "";
		say(this.adds.value, noise ? num(10 * Math.log10(noise.power), 0, "dBu") : has && !s.off ? "inaudible" : "");
		this.adds.root.title = noise ? `${num(100 * noise.share, noise.share < 0.1 ? 1 : 0, "%")} of the noise at the output` : "";
	}
}

export class Lane {
	/** @param {HTMLElement} root @param {{op: (op: any) => void, order: (b: import("./order.js").Board, block: string) => void, pick: (block: string) => void, say: (text: string) => void}} wish */
	constructor(root, wish) {
		this.root = root;
		this.wish = wish;
		/** @type {Map<string, Row>} */
		this.rows = new Map();
		this.drawn = "";
		/** @type {any} */
		this.side = null;
		this.letter = "A";
		/** The order that was wished and not yet answered. @type {import("./order.js").Board | null} */
		this.ahead = null;
		/** @type {import("./order.js").Board | null} */
		this.lifted = null;
		this.liftedBlock = "";
		this.held = ""; // by hand
		this.picked = "";
		/** Loops that are out and shown all the same. @type {Set<number>} */
		this.open = new Set();
		this.stations = new Map();
		/** @type {any} */
		this.figured = null;
		root.addEventListener("keydown", e => { // Alt with an arrow moves a block from wherever in its row the keyboard is
			const on = /** @type {HTMLElement} */ (e.target), name = on.closest(".station")?.getAttribute("data-block");
			if (e.altKey && name && this.stations.has(name) && !on.matches(".grip, select")) this.key(e, name);
		});
	}

	/** The order as it is drawn. @returns {import("./order.js").Board} */
	now() { return this.lifted ?? this.ahead ?? board(this.side); }

	/** @param {string} letter @param {any} side @param {any} figures @param {import("./order.js").Board | null} ahead */
	show(letter, side, figures, ahead) {
		if (letter !== this.letter) this.lifted = null;
		this.letter = letter;
		this.side = side;
		this.ahead = ahead;
		this.stations = new Map();
		/** @param {any[]} list */
		const walk = list => {
			for (const s of list ?? []) {
				if (s.split) walk(s.split.left), walk(s.split.right);
				else this.stations.set(s.block, s);
				for (const l of s.loops ?? []) walk(l.blocks);
			}
		};
		walk(side.lane);
		walk(side.tray);
		const all = (/** @type {import("./order.js").Board} */ b) => lists(b).flatMap(([, i]) => i.map(x => x.block)).sort().join("\n");
		if (this.lifted && all(this.lifted) !== all(board(side))) this.lifted = null;
		if (!this.held) this.draw(this.now());
		this.figures(figures);
	}

	/** @param {any} figures */
	figures(figures) {
		this.figured = figures;
		const jacks = figures?.jacks ?? [], noise = new Map();
		for (const n of figures?.noise ?? []) {
			if (!n.block || !Number.isFinite(n.dbu)) continue;
			const sum = noise.get(n.block) ?? { power: 0, share: 0 };
			sum.power += 10 ** (n.dbu / 10);
			sum.share += n.share ?? 0;
			noise.set(n.block, sum);
		}
		for (const [name, row] of this.rows) {
			const s = name === " guitar" ? this.side?.guitar_station : this.stations.get(name);
			if (!s) continue;
			let own = name === " guitar" ? jacks.find((/** @type {any} */ j) => j.block === "guitar" || j.jack.startsWith("guitar")) : jacks.find((/** @type {any} */ j) => j.block === name);
			if (own && name === " guitar") own = { ...own, ceiling_dbu: null, headroom_db: null };
			if (name === " guitar") row.show({ ...s, kind: [s.name, s.pickup].filter(Boolean).join(", ") }, own, noise.get("guitar"), true);
			else row.show(s, own, noise.get(name), this.isOn(name));
		}
		const ends = jacks.filter((/** @type {any} */ j) => !j.block || /^(out|load|left|right|amplifier)/.test(j.jack));
		for (const e of this.root.querySelectorAll(".end-row")) {
			const path = /** @type {HTMLElement} */ (e).dataset.path ?? "", j = ends.find((/** @type {any} */ x) => path && x.jack.includes(path)) ?? (path ? null : ends.at(-1));
			const v = e.querySelector(".v"), load = path ? null : this.side?.load_station?.in;
			if (v) say(v, [j && Number.isFinite(j.peak_dbu) ? num(j.peak_dbu, 1, "dBu") + " peak" : "", load ? `into ${load}` : ""].filter(Boolean).join(" "));
		}
	}

	/** Marks where the chain is heard: before a block, or behind it. @param {string} jack "" for its end */
	listen(jack) {
		for (const [name, row] of this.rows) {
			const ends = name === " guitar" ? { "": "", guitar: "behind" } : { [name + ".in"]: "before", [name + ".out"]: "behind" }, at = jack ? ends[jack] ?? "" : "";
			row.ear.hidden = !at;
			row.ear.className = "ear " + at;
			say(row.ear.firstElementChild, at ? `you hear it ${at} this` : "");
		}
	}

	/** Whether a block is on the board and, in a loop, the loop is in. @param {string} name */
	isOn(name) {
		/** @param {any[]} list @returns {boolean} */
		const has = list => (list ?? []).some(s => s.block === name || (s.split && (has(s.split.left) || has(s.split.right))) || (s.loops ?? []).some((/** @type {any} */ l) => l.on && has(l.blocks)));
		return has(this.side?.lane);
	}

	/** The row whose settings are shown. @param {string} name */
	select(name) {
		this.picked = name;
		for (const [n, r] of this.rows) {
			r.root.classList.toggle("picked", n === name);
			r.pick.setAttribute("aria-pressed", String(n === name));
		}
	}

	/** @param {string} name @param {boolean} movable */
	row(name, movable = true) {
		let r = this.rows.get(name);
		if (!r) {
			r = new Row(this, name, movable);
			if (!movable) r.root.classList.add("guitar"), r.root.removeAttribute("data-block");
			this.rows.set(name, r);
		}
		return r;
	}

	/** Draws the rows of a board, where it differs from what is drawn. @param {import("./order.js").Board} b */
	draw(b) {
		const shape = JSON.stringify([b, Boolean(this.side.guitar_station), [...this.open], this.held, this.lifted ? this.liftedBlock : this.picked]);
		if (shape !== this.drawn) {
			this.drawn = shape;
			const focus = /** @type {HTMLElement | null} */ (document.activeElement);
			const inside = focus && this.root.contains(focus);
			const before = new Map([...this.rows].map(([n, r]) => [n, r.root.isConnected ? r.main.getBoundingClientRect() : null]));
			const main = this.list("main", b.main, "Board of side " + this.letter);
			if (this.side.guitar_station) main.prepend(this.row(" guitar", false).root);
			if (!b.main.some(i => i.split)) main.append(this.end("amplifier", ""));
			const tray = this.list("tray", b.tray, "Tray: blocks off the board");
			for (const n of [...this.rows.keys()]) if (n !== " guitar" && !this.stations.has(n)) this.rows.delete(n);
			const rows = main.querySelectorAll(".station, .folded").length - main.querySelectorAll(".split .station").length, high = rows > tall - (main.querySelector(".split") ? 4 : 0);
			this.root.classList.toggle("tall", high);
			this.root.classList.toggle("three", rows > 14);
			document.documentElement.classList.toggle("big", high);
			this.root.replaceChildren(high ? "" : this.heads(), main, el("div", { class: "tray-box" }, el("h3", {}, "Tray ", el("small", {}, b.tray.length ? "off the board" : "drop a block here to take it off the board")), tray));
			if (inside && focus?.isConnected && document.activeElement !== focus) focus.focus({ preventScroll: true });
			if (!matchMedia("(prefers-reduced-motion: reduce)").matches) for (const [n, r] of this.rows) { // rows make way
				const was = before.get(n), is = was && r.root.isConnected ? r.main.getBoundingClientRect() : null;
				if (was?.width && is && (was.left !== is.left || was.top !== is.top) && n !== this.held) r.box.animate([{ transform: `translate(${was.left - is.left}px, ${was.top - is.top}px)` }, { transform: "none" }], { duration: 110, easing: "ease-out" });
			}
			this.select(this.picked);
		}
		for (const [name, r] of this.rows) {
			if (name === " guitar" || !this.stations.has(name)) continue;
			const label = `Move ${name}, ${words(b, name)}`;
			if (r.grip.getAttribute("aria-label") !== label) r.grip.setAttribute("aria-label", label);
			const up = this.lifted !== null && this.liftedBlock === name;
			r.root.classList.toggle("lifted", up);
			r.root.classList.toggle("slot", this.held === name);
			r.grip.setAttribute("aria-pressed", String(up));
		}
	}

	heads() {
		const ticks = [-100, -80, -60, -40, -20, 0, 20].map(v => {
			const t = el("span", {}, num(v, 0).replace(/^(\d)/, v > 0 ? "+$1" : "$1"));
			t.style.left = along(v) + "%";
			return t;
		});
		return el("div", { class: "main-row heads", "aria-hidden": "true" }, el("span"), el("div", { class: "box" }, el("span", {}, "block"), el("div", { class: "ticks" }, ...ticks), el("span", {}, "peak"), el("span", {}, "headroom"), el("span", { class: "adds" }, "noise added"), el("span")));
	}

	/** @param {string} name @param {import("./order.js").Item[]} items @param {string} label */
	list(name, items, label) {
		const ol = el("ol", { class: "stations " + (name.startsWith("loop") ? "in-loop" : name), "data-list": name, "aria-label": label });
		for (const i of items) {
			if (i.split) {
				ol.append(el("li", { class: "split" },
					el("div", { class: "paths" }, ...["left", "right"].map(path => el("div", { class: "path" }, el("h4", {}, path + (i.split?.mix === "mono" ? ", mixed to one" : "")), this.path(path, i.split?.[/** @type {"left"} */ (path)] ?? []))))));
				continue;
			}
			const r = this.row(i.block);
			r.within.replaceChildren(...this.loops(i));
			ol.append(r.root);
		}
		return ol;
	}

	/** The loops of a switcher: those that are in as rows, those that are out folded into a line. @param {import("./order.js").Item} item */
	loops(item) {
		/** @type {HTMLElement[]} */
		const parts = [];
		/** @type {HTMLElement | null} */
		let folded = null;
		for (const l of item.loops ?? []) {
			const names = l.blocks.map(x => x.block), put = () => this.wish.op({ do: "loop", number: l.number });
			const held = this.lifted ? this.liftedBlock : this.held || this.picked;
			const what = `loop ${l.number} of ${item.block}`;
			if (l.on || this.open.has(l.number) || names.includes(held)) {
				folded = null;
				const tag = l.insert ? el("span", { class: "tag", title: `Loop ${l.number} is the insert, always in: out to the amplifier and back${l.own ? ", its blocks in this take alone" : ""}` }, String(l.number), el("span", { class: "unseen" }, `, ${what}, always in`)) : el("button", { type: "button", class: "tag", "aria-pressed": String(l.on), title: `Loop ${l.number} is ${l.on ? "in" : "out"}${l.own ? ", its blocks in this take alone" : ""}`, onclick: put }, String(l.number), el("span", { class: "unseen" }, ", " + what));
				parts.push(el("div", { class: "loop" + (l.on ? "" : " out") }, tag, this.list("loop " + l.number, l.blocks, `Loop ${l.number} of ${item.block}, ${l.on ? "in" : "out"}`)));
				continue;
			}
			if (!folded) parts.push(folded = el("div", { class: "folded" }, el("span", { class: "soft" }, "out")));
			folded?.append(el("span", { class: "fold", "data-list": "loop " + l.number },
				el("button", { type: "button", class: "tag", "aria-pressed": "false", title: "Put it in", onclick: put }, String(l.number), el("span", { class: "unseen" }, ", " + what)),
				el("button", { type: "button", class: "plain", title: "Show its blocks", onclick: () => { this.open.add(l.number); this.draw(this.now()); this.figures(this.figured); } }, names.join(", ") || "empty", el("span", { class: "unseen" }, ", show " + what))));
		}
		return parts;
	}

	/** @param {string} name @param {import("./order.js").Item[]} items */
	path(name, items) {
		const ol = this.list(name, items, `Path to the ${name} amplifier`);
		ol.append(this.end(name, name));
		return ol;
	}

	/** @param {string} name @param {string} path */
	end(name, path) {
		return el("li", { class: "station end-row", "data-path": path }, el("div", { class: "main-row" }, el("div", { class: "rail" }, el("span", { class: "node", "aria-hidden": "true" })),
			el("div", { class: "box" }, el("b", { class: "name" }, path ? name + " out" : "output"), el("p", { class: "arrives" }, el("span", { class: "v" })))));
	}

	// By keyboard.

	/** @param {KeyboardEvent} e @param {string} name */
	key(e, name) {
		const arrow = e.key === "ArrowUp" || e.key === "ArrowLeft" ? -1 : e.key === "ArrowDown" || e.key === "ArrowRight" ? 1 : 0;
		if (e.ctrlKey || e.metaKey || this.held) return;
		if (this.lifted && this.liftedBlock === name) {
			if (arrow || e.key === "Home" || e.key === "End") this.step(name, e.key === "Home" ? -Infinity : e.key === "End" ? Infinity : arrow);
			else if (e.key === "Enter" || e.key === " ") this.drop(name);
			else if (e.key === "Escape") this.putBack(name);
			else if (e.key !== "Tab") return;
			else this.putBack(name);
			if (e.key === "Tab") return;
		} else if (e.altKey && arrow) {
			const to = this.stepped(this.now(), name, arrow);
			if (to) this.move(to, name);
			else this.wish.say(`${name} is at the ${arrow < 0 ? "beginning" : "end"} already.`);
		} else if (e.altKey || e.shiftKey) return;
		else if (e.key === " " || e.key === "Enter") {
			if (e.repeat) { e.preventDefault(); return; }
			this.lifted = this.now();
			this.liftedBlock = name;
			this.draw(this.lifted);
			this.wish.say(`${name} lifted, ${words(this.lifted, name)}. Arrow keys move it, Enter drops it, Escape puts it back.`);
		} else if (e.key === "Delete" || e.key === "Backspace") this.move(moved(this.now(), name, { list: "tray", index: 1e9 }), name);
		else if (e.key === "o" || e.key === "O") this.rows.get(name)?.in.click();
		else if (arrow && (e.key === "ArrowUp" || e.key === "ArrowDown")) {
			const grips = /** @type {HTMLElement[]} */ ([...this.root.querySelectorAll(".grip")]), k = grips.indexOf(/** @type {HTMLElement} */ (e.target));
			grips[k + arrow]?.focus();
		} else return;
		e.preventDefault();
		e.stopPropagation();
	}

	/** A step on the board; only what lies in the tray steps out of it. @param {import("./order.js").Board} b @param {string} name @param {number} by */
	stepped(b, name, by) {
		const all = places(b, name).filter(p => p.list !== "tray"), k = where(b, name), to = k >= all.length ? by < 0 ? Math.max(0, all.length + by) : k : Math.min(all.length - 1, Math.max(0, k + by));
		return to === k ? null : moved(b, name, all[to]);
	}

	/** @param {string} name @param {number} by */
	step(name, by) {
		const b = this.stepped(/** @type {any} */ (this.lifted), name, by);
		if (!b) return;
		this.lifted = b;
		this.draw(b);
		this.reveal(name);
		this.wish.say(`${name}, ${words(b, name)}.`);
	}

	/** @param {string} name */
	drop(name) {
		const b = /** @type {import("./order.js").Board} */ (this.lifted);
		this.lifted = null;
		if (same(without(b, name).place, without(this.now(), name).place)) {
			this.draw(b);
			this.wish.say(`${name} dropped where it was.`);
		} else this.move(b, name);
	}

	/** @param {string} name */
	putBack(name) {
		this.lifted = null;
		const b = this.now();
		this.draw(b);
		this.wish.say(`${name} is back, ${words(b, name)}.`);
	}

	/** @param {import("./order.js").Board} b @param {string} name */
	move(b, name) {
		this.ahead = b; // at once; what the program answers is drawn over it
		this.picked = name;
		this.draw(b);
		this.reveal(name);
		this.wish.order(b, name);
	}

	/** @param {string} name */
	reveal(name) { this.rows.get(name)?.main.scrollIntoView({ block: "nearest" }); }

	// By hand.

	/** @param {PointerEvent} e @param {string} name */
	take(e, name) {
		if (e.button !== 0 || this.held) return;
		if (this.lifted) this.putBack(this.liftedBlock);
		const row = /** @type {Row} */ (this.rows.get(name));
		row.grip.focus({ preventScroll: true });
		drag(e, {
			block: name, board: this.now(), root: this.root, held: row.main, slot: () => row.main,
			targets: rest => this.targets(rest),
			show: b => { this.held = name; this.draw(b); },
			done: b => {
				this.held = "";
				if (b) this.move(b, name);
				else this.draw(this.now()), this.wish.say(`${name} stays where it was.`);
				row.grip.focus({ preventScroll: true }); // hidden while it was held
			},
		});
	}

	/** What a block can be dropped before and after. @param {import("./order.js").Board} rest */
	targets(rest) {
		/** @type {import("./drag.js").Target[]} */
		const all = [];
		for (const [list, items] of lists(rest)) {
			const tray = list === "tray", drawn = this.root.querySelector(`[data-list="${list}"]`);
			if (!drawn) continue;
			const end = { list, index: items.length - (items.at(-1)?.split ? 1 : 0) };
			if (tray) { // anywhere in it is in it
				all.push({ at: /** @type {Element} */ (drawn.parentElement), before: end, after: end, across: true });
				continue;
			}
			if (!items.length || drawn.matches(".fold")) all.push({ at: drawn, before: end, after: end, across: false });
			if (drawn.matches(".fold")) continue;
			const guitar = list === "main" && this.rows.get(" guitar"), out = drawn.querySelector(":scope > .end-row");
			if (guitar) all.push({ at: guitar.main, before: null, after: { list, index: 0 }, across: false });
			if (out) all.push({ at: out, before: end, after: end, across: false });
			items.forEach((i, k) => {
				const row = this.rows.get(i.block), first = i.loops?.find(l => l.on);
				if (row) all.push({ at: row.main, before: { list, index: k }, after: first ? { list: "loop " + first.number, index: 0 } : { list, index: k + 1 }, across: false });
			});
		}
		return all;
	}
}
