// @ts-check
// The panel beside the board shows one thing at a time: the settings of a block, or a figure.
import { byId, el, say } from "./dom.js";
import { Knobs } from "./knobs.js";
import { Travel } from "./travel.js";

const tabs = ["block", "ladder", "spectrum", "response", "noise", "why"];

export class Panel {
	/** @param {{op: (op: any) => void, off: (block: string) => void, hear: (jack: string) => void}} wish @param {ConstructorParameters<typeof Travel>[0]} page */
	constructor(wish, page) {
		this.travel = new Travel(page);
		this.wish = wish;
		this.tab = "block";
		this.of = "";
		this.title = el("h3", {}, "");
		this.kind = el("span", { class: "soft" });
		this.brief = el("p", { class: "soft" });
		/** @type {[string, string, any][]} */
		this.ears = [[".in", "before it"], [".out", "behind it"], ["", "the output"]].map(([end, text]) => [end, text, el("button", { type: "button", onclick: () => wish.hear(this.jack(end)) }, text)]);
		this.hear = el("div", { class: "hear", role: "group", "aria-label": "Where to listen" }, el("span", { class: "soft" }, "Hear"), ...this.ears.map(e => e[2]));
		this.loading = el("p", { class: "warn" });
		this.facts = el("dl", { class: "facts" });
		this.meters = el("dl", { class: "meters" });
		this.metered = el("details", { hidden: true }, el("summary", {}), this.meters);
		this.knobs = new Knobs((target, value, more) => wish.op({ do: "knob", target, value, more }));
		this.off = el("button", { type: "button", onclick: () => wish.off(this.of) }, "Take it off the board");
		this.idle = el("p", { class: "soft" }, "The signal does not run through it: put it on the board, or its loop in, to set it.");
		byId("see-block").append(this.title, this.hear, this.brief, this.loading, this.knobs.root, this.travel.root, this.idle, this.facts, this.off, this.metered);
		for (const t of tabs) byId("tab-" + t).addEventListener("click", () => this.open(t));
		byId("panel").querySelector("[role=tablist]").addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
			const by = { ArrowLeft: -1, ArrowRight: 1, Home: -9, End: 9 }[e.key];
			if (!by || e.altKey || e.ctrlKey || e.metaKey) return;
			this.open(tabs[Math.abs(by) === 9 ? (by < 0 ? 0 : tabs.length - 1) : (tabs.indexOf(this.tab) + by + tabs.length) % tabs.length]);
			byId("tab-" + this.tab).focus();
			e.preventDefault();
			e.stopPropagation();
		});
		this.open(this.tab);
	}

	/** @param {string} tab */
	open(tab) {
		this.tab = tab;
		for (const t of tabs) {
			byId("tab-" + t).setAttribute("aria-selected", String(t === tab));
			byId("tab-" + t).tabIndex = t === tab ? 0 : -1;
			byId("see-" + t).hidden = t !== tab;
		}
		byId("legend").hidden = tab === "block" || tab === "why";
	}

	/** The jack of the block that is shown. @param {string} end */
	jack(end) { return !end ? "" : this.of === " guitar" ? "guitar" : this.of + end; }

	/** @param {string} name @param {any} s the station @param {boolean} on whether the signal runs through it @param {any} jack its meters @param {{jack: string, jacks: string[]}} heard the jack that is listened to, and those of the side */
	show(name, s, on, jack, heard) {
		this.of = name;
		const guitar = name === " guitar", none = !s;
		this.title.replaceChildren(none ? "No block is chosen" : guitar ? "guitar" : name, " ", this.kind);
		say(this.kind, none ? "" : guitar ? [s.name, s.pickup].filter(Boolean).join(", ") : s.kind === name ? "" : s.kind);
		say(this.brief, none ? "Press a row of the board: its settings stand here." : s.brief ?? "");
		say(this.loading, s?.loading ?? "");
		for (const [end, text, b] of this.ears) {
			b.hidden = guitar && end === ".in";
			b.disabled = end !== "" && !heard.jacks.includes(this.jack(end));
			b.setAttribute("aria-pressed", String(this.jack(end) === heard.jack));
			say(b, guitar && end === ".out" ? "at its jack" : text);
		}
		this.knobs.show(s?.knobs ?? []);
		for (const c of this.knobs.root.querySelectorAll("input, select")) c.disabled = !on;
		this.idle.hidden = on || none;
		this.travel.show(name, guitar || none ? [] : s.knobs.filter((/** @type {any} */ k) => !k.words && k.name !== "supply"), on);
		/** @param {HTMLElement} list @param {string[][]} rows */
		const fill = (list, rows) => {
			if (list.dataset.told === JSON.stringify(rows)) return;
			list.dataset.told = JSON.stringify(rows);
			list.replaceChildren(...rows.map(([k, v]) => el("div", {}, el("dt", {}, k), el("dd", {}, v))));
		};
		fill(this.facts, none ? [] : [["input", s.in], ["output", s.out]].filter(([, v]) => v).map(([k, v]) => [k, v + " at 1 kHz"]));
		fill(this.meters, (none ? [] : jack?.meters ?? []).map((/** @type {any} */ m) => [m.name, m.value]));
		this.metered.hidden = !this.meters.children.length;
		say(this.metered.firstElementChild, guitar ? "All meters at the guitar's jack" : "All meters at its input");
		this.off.hidden = none || guitar || !on;
	}
}
