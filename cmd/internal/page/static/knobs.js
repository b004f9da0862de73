// @ts-check
// A block's settings: sliders with their numbers and units beside them, lists of words where words are the choice.
import { el } from "./dom.js";

/** @typedef {{name: string, target: string, brief: string, unit: string, min: number | null, max: number | null, value: number | null, text: string, words?: string[] | null}} Knob */

const steps = 200;

/** Whether a range is walked in ratios: from a tenth of a second to ten seconds, say. @param {Knob} k */
const byRatio = k => k.min !== null && k.max !== null && k.min > 0 && k.max / k.min >= 30;

/** @param {Knob} k @param {number} v */
const place = (k, v) => {
	const min = Number(k.min), max = Number(k.max), p = byRatio(k) ? Math.log(v / min) / Math.log(max / min) : (v - min) / (max - min);
	return Math.round(steps * Math.min(1, Math.max(0, p)));
};

/** @param {Knob} k @param {number} at */
const valueAt = (k, at) => {
	const min = Number(k.min), max = Number(k.max);
	if (at <= 0) return min;
	if (at >= steps) return max;
	const v = byRatio(k) ? min * (max / min) ** (at / steps) : min + (max - min) * at / steps;
	const fine = byRatio(k) ? v : max - min, digits = Math.max(0, 2 - Math.floor(Math.log10(Math.abs(fine)) + 1e-9));
	return Number(v.toFixed(digits > 2 && !byRatio(k) ? 2 : digits));
};

/** @param {Knob} k @param {number} v */
const written = (k, v) => String(v) + (k.unit && !k.unit.startsWith(":") ? " " : "") + (k.unit ?? "");

let unique = 0;

export class Knobs {
	/** @param {(target: string, value: string, more: boolean) => void} turn */
	constructor(turn) {
		this.turn = turn;
		this.root = el("div", { class: "knobs" });
		this.shape = "";
		/** @type {Map<string, {knob: Knob, update: (k: Knob) => void}>} */
		this.parts = new Map();
	}

	/** @param {Knob[]} knobs */
	show(knobs) {
		const shape = JSON.stringify(knobs.map(k => [k.target, k.min, k.max, k.unit, k.words]));
		if (shape !== this.shape) {
			this.shape = shape;
			this.parts.clear();
			this.root.replaceChildren(...knobs.map(k => this.make(k)));
		}
		for (const k of knobs) this.parts.get(k.target)?.update(k);
	}

	/** @param {Knob} first */
	make(first) {
		const id = "knob-" + ++unique;
		let knob = first, typing = false;
		const off = first.name === "bypass" && first.words?.includes("buffered"); // what a switched-off pedal does with the signal
		const name = el("label", { for: id, title: first.brief }, off ? "when off" : first.name.replaceAll("_", " "));
		/** @type {(k: Knob) => void} */
		let update;
		/** @type {HTMLElement[]} */
		let parts;
		if (first.words?.length) {
			const select = el("select", { id, onchange: () => this.turn(knob.target, select.value, false) }, ...first.words.map(w => el("option", { value: w }, off && w === "true" ? "true bypass" : w)));
			update = k => { select.value = k.text; };
			parts = [select];
		} else {
			const ranged = first.min !== null && first.max !== null && first.max > first.min;
			const exact = el("input", { class: "exact", type: "text", autocomplete: "off", spellcheck: "false", id: ranged ? id + "-exact" : id, "aria-label": ranged ? first.name + ", as in a chain file" : null,
				oninput: () => { typing = true; }, onblur: () => { typing = false; update(knob); },
				onchange: () => { typing = false; this.turn(knob.target, exact.value.trim(), false); },
				onkeydown: (/** @type {KeyboardEvent} */ e) => { if (e.key === "Escape") { typing = false; exact.value = knob.text; e.stopPropagation(); } } });
			const slider = ranged ? el("input", { id, type: "range", min: 0, max: steps, step: 1,
				oninput: () => {
					const text = written(knob, valueAt(knob, Number(slider.value)));
					exact.value = text;
					slider.setAttribute("aria-valuetext", text);
					this.turn(knob.target, text, true);
				},
				onchange: () => this.turn(knob.target, written(knob, valueAt(knob, Number(slider.value))), false),
			}) : null;
			update = k => {
				if (!typing) exact.value = k.text;
				if (slider && k.value !== null && !slider.matches(":active")) {
					slider.value = String(place(k, k.value));
					slider.setAttribute("aria-valuetext", k.text);
				}
			};
			parts = slider ? [slider, exact] : [exact];
		}
		this.parts.set(first.target, { knob, update: k => { knob = k; update(k); } });
		return el("div", { class: "knob" + (parts.length === 1 ? " single" : "") }, name, ...parts);
	}
}
