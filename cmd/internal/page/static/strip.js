// @ts-check
// The two orders in short, A above B, as chips that can be dragged. Keys move blocks on the board below, which says the same.
import { el, byId } from "./dom.js";
import { drag } from "./drag.js";
import { board, line, lists, strays } from "./order.js";

export class Strip {
	/** @param {HTMLElement} root @param {{hear: (side: string) => void, pick: (block: string, side: string) => void, take: (side: string, name: string) => void, order: (side: string, b: import("./order.js").Board, block: string) => void, say: (text: string) => void}} wish */
	constructor(root, wish) {
		this.root = root;
		this.wish = wish;
		this.drawn = "";
		/** @type {Record<string, HTMLElement>} */
		this.flows = {};
		/** @type {any} */
		this.state = null;
		this.held = { side: "", block: "" };
	}

	/** @param {any} state @param {string} sounding @param {Record<string, import("./order.js").Board | null>} ahead */
	show(state, sounding, ahead) {
		this.state = state;
		this.sounding = sounding;
		this.boards = { A: ahead.A ?? board(state.sides.A), B: ahead.B ?? board(state.sides.B) };
		if (!this.held.block) this.draw(this.boards);
	}

	/** @param {Record<string, import("./order.js").Board>} boards */
	draw(boards) {
		const { takes, sides } = this.state, off = { A: bypassed(sides.A), B: bypassed(sides.B) };
		const shape = JSON.stringify([boards, this.sounding, takes, sides.A.take, sides.B.take, off, this.held]);
		if (shape === this.drawn) return;
		this.drawn = shape;
		const focus = document.activeElement?.id, names = (/** @type {string} */ s) => line(boards[s]).map(x => x.name), moved = strays(names("A"), names("B")), many = Math.max(names("A").length, names("B").length) > 12;
		this.root.replaceChildren(...["A", "B"].map(side => {
			const o = line(boards[side]), paths = [...new Set(o.map(x => x.path))].filter(Boolean);
			const chip = (/** @type {{name: string}} */ x) => el("li", {
				class: ["chip", moved.has(x.name) && "moved", off[/** @type {"A"} */ (side)].includes(x.name) && "off", this.held.side === side && this.held.block === x.name && "slot"].filter(Boolean).join(" "), "data-chip": x.name,
				onpointerdown: (/** @type {PointerEvent} */ e) => this.take(e, side, x.name), onclick: () => this.wish.pick(x.name, side) }, x.name);
			const flow = (/** @type {string} */ p) => el("ol", { class: "flow", "data-path": p, "aria-label": p ? `${p} path` : `Order of side ${side}` }, el("li", { class: "end first" }, p || "guitar"), ...o.filter(x => x.path === p).map(chip), p || !paths.length ? el("li", { class: "end last" }, "out") : "");
			const select = el("select", { id: "pick-take-" + side, "aria-label": "Take of side " + side, onchange: () => this.wish.take(side, select.value) }, ...takes.map((/** @type {string} */ t) => el("option", { value: t }, t)));
			select.value = sides[side].take;
			return this.flows[side] = el("div", { class: `order side-${side.toLowerCase()}${side === this.sounding ? " sounding" : ""}`, "data-side": side },
				el("button", { type: "button", class: "letter", "aria-label": "Hear side " + side, "aria-pressed": String(side === this.sounding), onclick: () => this.wish.hear(side) }, side), select,
				el("div", { class: "flows" + (many ? " many" : "") }, flow(""), paths.length ? el("div", { class: "both" }, ...paths.map(flow)) : ""));
		}));
		if (focus?.startsWith("pick-take-")) byId(focus)?.focus();
	}

	/** @param {PointerEvent} e @param {string} side @param {string} block */
	take(e, side, block) {
		if (e.button !== 0 || this.held.block) return;
		const chip = /** @type {HTMLElement} */ (e.currentTarget), boards = /** @type {Record<string, import("./order.js").Board>} */ (this.boards);
		drag(e, {
			block, board: boards[side], root: this.root, held: chip, slot: () => this.root.querySelector(".chip.slot"),
			targets: rest => this.targets(side, rest),
			show: b => { this.held = { side, block }; this.draw({ ...boards, [side]: b }); },
			done: b => {
				this.held = { side: "", block: "" };
				if (b) this.wish.order(side, b, block);
				else this.draw(boards), this.wish.say(`${block} stays where it was.`);
			},
		});
	}

	/** @param {string} side @param {import("./order.js").Board} rest */
	targets(side, rest) {
		/** @type {import("./drag.js").Target[]} */
		const all = [], flow = this.flows[side];
		for (const [list, items] of lists(rest)) {
			const path = list === "left" || list === "right" ? list : "", end = { list, index: items.length - (items.at(-1)?.split ? 1 : 0) };
			const first = flow.querySelector(`.flow[data-path="${path}"] .first`), last = flow.querySelector(`.flow[data-path="${path}"] .last`);
			if ((list === "main" || path) && first) all.push({ at: first, before: { list, index: 0 }, after: { list, index: 0 }, across: true });
			if ((list === "main" || path) && last) all.push({ at: last, before: end, after: end, across: true });
			if (list !== "tray") items.forEach((i, k) => {
				const chip = i.block && flow.querySelector(`.chip[data-chip="${i.block}"]:not(.slot)`);
				if (chip) all.push({ at: chip, before: { list, index: k }, after: { list, index: k + 1 }, across: true });
			});
		}
		return all;
	}
}

/** @param {any} side @returns {string[]} the blocks that are bypassed */
function bypassed(side) {
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
	walk(side.lane);
	return off;
}
