// @ts-check
// The lane: the drawn order of a side, along which the signal runs from the guitar down to the amplifiers. Each block is a station; stations are moved by
// dragging their grips and by keyboard, into loops, paths and the tray too. The lane shows what it is given and says what was wished; it decides nothing.
import { el, svg, say, num } from "./dom.js";
import { Knobs } from "./knobs.js";
import { board, lists, moved, places, same, where, without, words } from "./order.js";

/** The scale of levels in every row, in dBu. */
const low = -120, high = 20;
/** @param {number} dbu */
const along = dbu => 100 * (Math.min(high, Math.max(low, dbu)) - low) / (high - low);

const gripMark = () => svg("svg", { width: 12, height: 18, viewBox: "0 0 12 18", "aria-hidden": "true" },
	...[3, 9, 15].flatMap(y => [3, 9].map(x => svg("circle", { cx: x, cy: y, r: 1.6 }))));

/** A number of a row with its meaning: words that are seen on narrow screens and read aloud on all. @param {string} name @param {string} cls */
const cell = (name, cls) => {
	const value = el("span", { class: "v" });
	return { root: el("p", { class: "cell " + cls }, el("span", { class: "n" }, name), " ", value), value };
};

/** One line of the lane. */
class Row {
	/** @param {Lane} lane @param {string} name @param {boolean} movable */
	constructor(lane, name, movable) {
		this.name = name;
		this.title = el("b", { class: "name" }, name);
		this.kind = el("span", { class: "kindof" });
		this.noise = el("i", { class: "noise" });
		this.span = el("i", { class: "span" });
		this.room = el("i", { class: "room" });
		this.ceiling = el("i", { class: "ceiling" });
		this.scale = el("div", { class: "scale", "aria-hidden": "true" }, this.room, this.noise, this.span, this.ceiling);
		this.level = cell("level", "level");
		this.headroom = cell("headroom", "headroom");
		this.adds = cell("noise it adds", "adds");
		this.impedance = cell("in and out", "impedance");
		this.knobs = new Knobs(lane.turn);
		this.knobCount = el("span");
		this.details = el("details", { class: "set" }, el("summary", {}, "Settings", el("span", { class: "unseen" }, " of " + name), " ", this.knobCount), this.knobs.root);
		this.details.hidden = true;
		this.loading = el("p", { class: "loading", hidden: true });
		this.grip = movable ? el("button", { class: "grip", type: "button", "aria-describedby": "grip-help", onpointerdown: e => lane.take(e, name), onkeydown: e => lane.key(e, name) }, gripMark()) : el("span", { class: "node", "aria-hidden": "true" });
		this.bypass = movable ? el("input", { type: "checkbox", onchange: () => lane.wish.op({ do: "bypass", block: name, on: this.bypass.checked }) }) : null;
		this.box = el("div", { class: "box" },
			el("div", { class: "head" }, this.title, " ", this.kind),
			el("div", { class: "meter" }, this.scale, this.level.root),
			this.headroom.root, this.adds.root, this.impedance.root,
			this.bypass ? el("label", { class: "check bypass" }, this.bypass, el("span", {}, "bypass"), el("span", { class: "unseen" }, " " + name)) : el("span"),
			this.details);
		this.main = el("div", { class: "main-row" }, el("div", { class: "rail" }, this.grip), this.box);
		this.within = el("div", { class: "within" });
		this.root = el("li", { class: "station", "data-block": name }, this.loading, this.main, this.within);
	}

	/** @param {any} s station or guitar @param {any} jack @param {any} noise */
	show(s, jack, noise) {
		say(this.kind, s.kind && s.kind !== this.name ? s.kind : "");
		this.kind.title = this.title.title = s.brief ?? "";
		this.root.classList.toggle("off", Boolean(s.off));
		if (this.bypass) this.bypass.checked = Boolean(s.off);
		const z = s.in || s.out ? `${s.in ? s.in + " " : ""}\u2192 ${s.out || "\u2013"}` : "";
		say(this.impedance.value, z);
		this.impedance.root.classList.toggle("void", !z);
		say(this.loading, s.loading ?? "");
		this.loading.hidden = !s.loading;
		this.loading.classList.toggle("weak", Boolean(s.weak));
		this.knobs.show(s.knobs ?? []);
		this.details.hidden = !s.knobs?.length;
		say(this.knobCount, (s.knobs ?? []).slice(0, 4).map((/** @type {any} */ k) => `${k.name} ${k.text}`).join(", ") + (s.knobs?.length > 4 ? ", …" : ""));
		this.measure(s, jack, noise);
	}

	/** A block that the signal does not run through can be moved; what it is set to changes nothing, and is not the take's. @param {boolean} on */
	hold(on) {
		this.root.classList.toggle("idle", !on);
		for (const control of [this.bypass, ...this.knobs.root.querySelectorAll("input, select")]) if (control) /** @type {HTMLInputElement} */ (control).disabled = !on;
		this.details.title = on ? "" : "The signal does not run through it: put its loop in, or the block on the board, to set it.";
	}

	/** @param {any} s @param {any} jack @param {any} noise */
	measure(s, jack, noise) {
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
		const over = has && Number.isFinite(j.headroom_db) && j.headroom_db < 0;
		this.scale.classList.toggle("over", over);
		if (over && Number.isFinite(j.ceiling_dbu)) {
			this.room.style.left = along(j.ceiling_dbu) + "%";
			this.room.style.width = along(j.peak_dbu) - along(j.ceiling_dbu) + "%";
		}
		say(this.level.value, has ? `${num(j.peak_dbu, 1)} dBu peak` : "");
		this.level.root.title = (j.meters ?? []).join("\n");
		say(this.headroom.value, has && !s.off && this.name !== "guitar" ? Number.isFinite(j.headroom_db) ? j.headroom_db < 0 ? num(-j.headroom_db, 0, "dB") + " over" : num(j.headroom_db, 1, "dB") : "no limit" : "");
		this.headroom.root.classList.toggle("over", has && j.headroom_db < 0 && !s.off);
		this.headroom.root.title = has && j.headroom_db < 0 ? "Over its ceiling: it distorts" + (j.over ? `, ${num(100 * j.over, 1)} % of the time` : "") : "";
		this.headroom.root.classList.toggle("void", !this.headroom.value.textContent);
		say(this.adds.value, noise ? `${num(10 * Math.log10(noise.power), 0, "dBu")}, ${num(100 * noise.share, noise.share < 0.1 ? 1 : 0, "%")}` : has && !s.off ? "inaudible" : "");
		this.adds.root.classList.toggle("void", !this.adds.value.textContent);
	}
}

export class Lane {
	/** @param {HTMLElement} root @param {{op: (op: any) => void, order: (b: import("./order.js").Board, block: string) => void, say: (text: string) => void}} wish */
	constructor(root, wish) {
		this.root = root;
		this.wish = wish;
		this.turn = (/** @type {string} */ target, /** @type {string} */ value, /** @type {boolean} */ more) => wish.op({ do: "knob", target, value, more });
		/** @type {Map<string, Row>} */
		this.rows = new Map();
		this.drawn = "";
		/** @type {any} */
		this.side = null;
		this.letter = "A";
		/** @type {import("./order.js").Board | null} */
		this.lifted = null;
		this.liftedBlock = "";
		/** @type {null | {block: string, y: number, board: import("./order.js").Board, to: import("./order.js").Place, marker: HTMLElement, row: HTMLElement, spots: {place: import("./order.js").Place, y: number, left: number, right: number}[], frame: number, clientY: number, started: boolean, pointer: number}} */
		this.drag = null;
		this.stations = new Map();
		root.addEventListener("keydown", e => { // Alt with an arrow moves a block from wherever in its row the keyboard is
			const on = /** @type {HTMLElement} */ (e.target), name = on.closest(".station")?.getAttribute("data-block");
			if (e.altKey && name && !on.matches(".grip, select")) this.key(e, name);
		});
	}

	/** @param {string} letter @param {any} side @param {any} figures */
	show(letter, side, figures) {
		if (letter !== this.letter) this.lifted = null;
		this.letter = letter;
		this.side = side;
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
		if (this.lifted && JSON.stringify(lists(this.lifted).flatMap(([, i]) => i.map(x => x.block)).sort()) !== JSON.stringify(lists(board(side)).flatMap(([, i]) => i.map(x => x.block)).sort())) this.lifted = null;
		this.draw(this.lifted ?? board(side));
		this.figures(figures);
	}

	/** @param {any} figures */
	figures(figures) {
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
			if (name === " guitar") row.show({ ...s, kind: [s.name, s.pickup].filter(Boolean).join(", ") }, own, noise.get("guitar"));
			else {
				const on = this.isOn(name);
				row.show(s, on ? own : null, on ? noise.get(name) : null);
				row.hold(on);
			}
		}
		const ends = jacks.filter((/** @type {any} */ j) => !j.block || /^(out|load|left|right|amplifier)/.test(j.jack));
		for (const e of this.root.querySelectorAll(".end-row")) {
			const path = /** @type {HTMLElement} */ (e).dataset.path ?? "", j = ends.find((/** @type {any} */ x) => path && x.jack.includes(path)) ?? (path ? null : ends.at(-1));
			const v = e.querySelector(".v");
			const load = path ? null : this.side?.load_station?.in;
			if (v) say(v, [j && Number.isFinite(j.peak_dbu) ? `${num(j.peak_dbu, 1)} dBu peak arrives` : "", load ? `into ${load}` : ""].filter(Boolean).join(" "));
		}
	}

	/** Whether a block is on the board and, in a loop, the loop is in. @param {string} name */
	isOn(name) {
		/** @param {any[]} list @returns {boolean} */
		const has = list => (list ?? []).some(s => s.block === name || (s.split && (has(s.split.left) || has(s.split.right))) || (s.loops ?? []).some((/** @type {any} */ l) => l.on && has(l.blocks)));
		return has(this.side?.lane);
	}

	/** @param {string} name @param {boolean} movable */
	row(name, movable = true) {
		let r = this.rows.get(name);
		if (!r) {
			r = new Row(this, name === " guitar" ? "guitar" : name, movable);
			if (name === " guitar") r.root.classList.add("guitar"), r.root.removeAttribute("data-block");
			this.rows.set(name, r);
		}
		return r;
	}

	/** Lays the rows out for a board, only where it differs from what is laid out. @param {import("./order.js").Board} b */
	draw(b) {
		const shape = JSON.stringify([b, Boolean(this.side.guitar_station)]);
		if (shape !== this.drawn) {
			this.drawn = shape;
			const focus = /** @type {HTMLElement | null} */ (document.activeElement);
			const inside = focus && this.root.contains(focus);
			const main = this.list("main", b.main, "Lane of side " + this.letter);
			if (this.side.guitar_station) main.prepend(this.row(" guitar", false).root);
			if (!b.main.some(i => i.split)) main.append(this.end("amplifier", ""));
			const tray = this.list("tray", b.tray, "Tray: blocks off the board");
			const gone = [...this.rows.keys()].filter(n => n !== " guitar" && !this.stations.has(n));
			for (const n of gone) this.rows.delete(n);
			const key = el("p", { class: "lane-key soft" }, ...[["span", "bar: average to peak"], ["room", "pale: room to the ceiling"], ["noise", "dots: noise"], ["room over", "hatched: over the ceiling, where it distorts"]].map(([mark, text]) => el("span", {}, el("i", { class: mark, "aria-hidden": "true" }), text)));
			this.root.replaceChildren(this.heads(), main, key, el("div", { class: "tray-box" }, el("h3", {}, "Tray ", el("small", {}, b.tray.length ? "off the board; drag a block into the lane, or here" : "empty; drag a block here to take it off the board")), tray));
			if (inside && focus?.isConnected && document.activeElement !== focus) focus.focus({ preventScroll: true });
		}
		for (const [name, r] of this.rows) {
			if (name === " guitar" || !this.stations.has(name)) continue;
			const label = `Move ${name}, ${words(b, name)}`;
			if (r.grip.getAttribute("aria-label") !== label) r.grip.setAttribute("aria-label", label);
			const up = this.lifted !== null && this.liftedBlock === name;
			r.root.classList.toggle("lifted", up);
			r.grip.setAttribute("aria-pressed", String(up));
		}
	}

	heads() {
		const ticks = [-100, -80, -60, -40, -20, 0, 20].map(v => {
			const t = el("span", {}, num(v, 0).replace(/^(\d)/, v > 0 ? "+$1" : "$1"));
			t.style.left = along(v) + "%";
			return t;
		});
		return el("div", { class: "heads", "aria-hidden": "true" }, el("span", {}, "block"), el("div", {}, "level into it, dBu", el("div", { class: "ticks" }, ...ticks)),
			el("span", {}, "headroom"), el("span", {}, "noise it adds"), el("span", {}, "impedance in \u2192 out"), el("span", {}));
	}

	/** @param {string} name @param {import("./order.js").Item[]} items @param {string} label */
	list(name, items, label) {
		const ol = el("ol", { class: "stations " + (name.startsWith("loop") ? "in-loop" : name), "data-list": name, "aria-label": label });
		for (const i of items) {
			if (i.split) {
				ol.append(el("li", { class: "split" },
					el("p", { class: "path-name" }, "The signal splits into two paths" + (i.split.mix === "mono" ? ", mixed to one" : ", left and right")),
					el("div", { class: "paths" },
						el("div", { class: "path" }, el("h4", {}, "Left"), this.path("left", i.split.left)),
						el("div", { class: "path" }, el("h4", {}, "Right"), this.path("right", i.split.right)))));
				continue;
			}
			const r = this.row(i.block);
			r.within.replaceChildren(...(i.loops ?? []).map(l => {
				const toggle = el("input", { type: "checkbox", onchange: () => this.wish.op({ do: "loop", number: l.number }) });
				toggle.checked = l.on;
				return el("div", { class: "loop" + (l.on ? "" : " out") },
					el("label", { class: "check loop-name" }, toggle, el("span", {}, `Loop ${l.number}`), el("span", { class: "soft" }, (l.on ? "in" : "out") + (l.own ? ", its blocks in this take alone" : ""))),
					this.list("loop " + l.number, l.blocks, `Loop ${l.number} of ${i.block}, ${l.on ? "in" : "out"}`));
			}));
			ol.append(r.root);
		}
		return ol;
	}

	/** @param {string} name @param {import("./order.js").Item[]} items */
	path(name, items) {
		const ol = this.list(name, items, `Path to the ${name} amplifier`);
		ol.append(this.end(name === "left" ? "left" : "right", name));
		return ol;
	}

	/** @param {string} name @param {string} path */
	end(name, path) {
		return el("li", { class: "station end-row", "data-path": path }, el("div", { class: "main-row" }, el("div", { class: "rail" }, el("span", { class: "node", "aria-hidden": "true" })),
			el("div", { class: "box" }, el("div", { class: "head" }, el("b", { class: "name" }, path ? `${name} output` : "output")), el("p", { class: "arrives" }, el("span", { class: "v" })))));
	}

	// By keyboard.

	/** @param {KeyboardEvent} e @param {string} name */
	key(e, name) {
		const arrow = e.key === "ArrowUp" || e.key === "ArrowLeft" ? -1 : e.key === "ArrowDown" || e.key === "ArrowRight" ? 1 : 0;
		if (e.ctrlKey || e.metaKey) return;
		if (this.lifted && this.liftedBlock === name) {
			if (arrow || e.key === "Home" || e.key === "End") this.step(name, e.key === "Home" ? -Infinity : e.key === "End" ? Infinity : arrow);
			else if (e.key === "Enter" || e.key === " ") this.drop(name);
			else if (e.key === "Escape") this.putBack(name);
			else if (e.key !== "Tab") return;
			else this.putBack(name);
			if (e.key === "Tab") return;
		} else if (e.altKey && arrow) {
			const to = this.stepped(board(this.side), name, arrow);
			if (to) this.move(to, name);
			else this.wish.say(`${name} is at the ${arrow < 0 ? "beginning" : "end"} already.`);
		} else if (e.altKey || e.shiftKey) return;
		else if (e.key === " " || e.key === "Enter") {
			if (e.repeat) { e.preventDefault(); return; }
			this.lifted = board(this.side);
			this.liftedBlock = name;
			this.draw(this.lifted);
			this.wish.say(`${name} lifted, ${words(this.lifted, name)}. Arrow keys move it, Enter drops it, Escape puts it back.`);
		} else if (e.key === "Delete" || e.key === "Backspace") this.move(moved(board(this.side), name, { list: "tray", index: 1e9 }), name);
		else if (e.key === "o" || e.key === "O") this.rows.get(name)?.bypass.click();
		else if (arrow && (e.key === "ArrowUp" || e.key === "ArrowDown")) {
			const grips = /** @type {HTMLElement[]} */ ([...this.root.querySelectorAll(".grip")]), k = grips.indexOf(/** @type {HTMLElement} */ (e.target));
			grips[k + arrow]?.focus();
		} else return;
		e.preventDefault();
		e.stopPropagation();
	}

	/** @param {import("./order.js").Board} b @param {string} name @param {number} by */
	stepped(b, name, by) {
		const all = places(b, name), k = where(b, name), to = Math.min(all.length - 1, Math.max(0, k + by));
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
		if (same(without(b, name).place, without(board(this.side), name).place)) {
			this.draw(b);
			this.wish.say(`${name} dropped where it was.`);
		} else this.move(b, name);
	}

	/** @param {string} name */
	putBack(name) {
		this.lifted = null;
		const b = board(this.side);
		this.draw(b);
		this.wish.say(`${name} is back, ${words(b, name)}.`);
	}

	/** @param {import("./order.js").Board} b @param {string} name */
	move(b, name) {
		this.draw(b); // at once; what the program answers is drawn over it
		this.reveal(name);
		this.wish.order(b, name);
	}

	/** @param {string} name */
	reveal(name) { this.rows.get(name)?.root.scrollIntoView({ block: "nearest" }); }

	// By hand.

	/** @param {PointerEvent} e @param {string} name */
	take(e, name) {
		if (e.button !== 0 || this.drag) return;
		if (this.lifted) this.putBack(this.liftedBlock);
		const grip = /** @type {HTMLElement} */ (e.currentTarget), row = /** @type {Row} */ (this.rows.get(name)).root, b = board(this.side);
		grip.setPointerCapture(e.pointerId);
		const drag = this.drag = { block: name, y: e.pageY, board: b, to: without(b, name).place, marker: el("div", { class: "marker", hidden: true }), row, spots: /** @type {any[]} */ ([]), frame: 0, clientY: e.clientY, started: false, pointer: e.pointerId };
		const move = (/** @type {PointerEvent} */ m) => {
			drag.clientY = m.clientY;
			if (!drag.started && Math.abs(m.pageY - drag.y) > 4) {
				drag.started = true;
				drag.spots = this.spots(b, name);
				this.root.append(drag.marker);
				row.classList.add("dragged");
				this.root.classList.add("dragging");
				const follow = () => {
					this.follow();
					if (this.drag === drag) drag.frame = requestAnimationFrame(follow);
				};
				follow();
			}
			m.preventDefault();
		};
		const end = (/** @type {boolean} */ drop) => {
			grip.removeEventListener("pointermove", move);
			grip.removeEventListener("pointerup", up);
			grip.removeEventListener("pointercancel", cancel);
			grip.removeEventListener("lostpointercapture", cancel);
			document.removeEventListener("keydown", escape, true);
			if (this.drag !== drag) return;
			if (drag.started && drop) this.follow();
			this.drag = null;
			cancelAnimationFrame(drag.frame);
			drag.marker.remove();
			row.classList.remove("dragged");
			row.style.transform = "";
			this.root.classList.remove("dragging");
			if (drag.started && drop && !same(drag.to, without(b, name).place)) this.move(moved(b, name, drag.to), name);
			else if (drag.started) this.wish.say(`${name} stays where it was.`);
		};
		const up = (/** @type {PointerEvent} */ m) => {
			drag.clientY = m.clientY;
			end(true);
		};
		const cancel = () => end(false);
		const escape = (/** @type {KeyboardEvent} */ k) => {
			if (k.key !== "Escape") return;
			k.preventDefault();
			k.stopPropagation();
			end(false);
		};
		grip.addEventListener("pointermove", move);
		grip.addEventListener("pointerup", up);
		grip.addEventListener("pointercancel", cancel);
		grip.addEventListener("lostpointercapture", cancel);
		document.addEventListener("keydown", escape, true);
		grip.focus({ preventScroll: true });
	}

	/** Where a block could be dropped, as heights on the page: between the rows that stay. @param {import("./order.js").Board} b @param {string} name */
	spots(b, name) {
		const rest = without(b, name).board, all = [];
		for (const place of places(b, name)) {
			const items = /** @type {import("./order.js").Item[]} */ (lists(rest).find(([l]) => l === place.list)?.[1]);
			const list = /** @type {HTMLElement} */ (this.root.querySelector(`[data-list="${place.list}"]`)), r = list.getBoundingClientRect();
			const after = items[place.index - 1], before = items[place.index];
			/** @param {import("./order.js").Item | undefined} i */
			const box = i => i && (i.split ? list.querySelector(":scope > .split") : this.rows.get(i.block)?.root)?.getBoundingClientRect();
			const a = box(after), z = box(before), guitar = place.list === "main" && !after ? this.rows.get(" guitar")?.root.getBoundingClientRect() : null;
			const top = a?.bottom ?? guitar?.bottom ?? r.top, y = z ? a || guitar ? (top + z.top) / 2 : z.top : a || guitar ? top : r.top + Math.min(16, r.height / 2);
			all.push({ place, y: y + scrollY, left: r.left + scrollX, right: r.right + scrollX });
		}
		return all;
	}

	/** The dragged row follows the pointer, the marker shows where it would go, and the page moves at its edges. */
	follow() {
		const d = this.drag;
		if (!d?.started) return;
		const edge = 72, speed = d.clientY < edge + 64 ? d.clientY - edge - 64 : d.clientY > innerHeight - edge ? d.clientY - innerHeight + edge : 0;
		if (speed) scrollBy({ top: speed / 5, behavior: "instant" });
		const y = d.clientY + scrollY;
		d.row.style.transform = `translate(14px, ${y - d.y}px)`;
		let best = d.spots[0];
		const aim = y + 10 * Math.sign(y - d.y); // over the middle of a row: beyond it, the way the hand goes
		for (const s of d.spots) if (Math.abs(s.y - aim) < Math.abs(best.y - aim)) best = s;
		d.to = best.place;
		const r = this.root.getBoundingClientRect(), m = d.marker;
		m.hidden = same(best.place, without(d.board, d.block).place);
		m.style.top = best.y - r.top - scrollY + "px";
		m.style.left = best.left - r.left - scrollX + "px";
		m.style.width = best.right - best.left + "px";
	}
}
