// @ts-check
// Figures of both sides: what sounds as a full line, the other side as a dashed one. Values are read by pointing and by arrow keys.
import { byId, el, svg, say, num, diff, hertz } from "./dom.js";

/** @typedef {{side: string, y: (number | null)[]}} Series */
/** @typedef {{x: number[], names: string[], log: boolean, unit: string, series: Series[], extra?: {name: string, cls: string, y: (number | null)[]}[], range?: [number, number]}} Plot */

const wide = 380, high = 200, left = 36, right = 10, top = 10, bottom = 30;

/** Round steps for an axis. @param {number} lo @param {number} hi */
function ticks(lo, hi) {
	const step = [1, 2, 3, 6, 10, 20, 40].find(s => (hi - lo) / s <= 9) ?? 50, all = [];
	for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) all.push(v);
	return all;
}

let unique = 0;

export class Figure {
	/** @param {string} title @param {string} about */
	constructor(title, about) {
		const id = "figure-" + ++unique;
		this.drawing = svg("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": title });
		this.at = el("span", { class: "hz" });
		this.values = el("output", { class: "values", "aria-live": "polite", for: id }, this.at);
		this.slider = el("input", { id, type: "range", min: 0, max: 0, step: 1, "aria-label": `${title}: where to read values`, oninput: () => this.read(Number(this.slider.value)) });
		this.missing = el("p", { class: "missing soft", hidden: true });
		this.holder = el("div", { class: "drawing" }, this.drawing);
		this.root = el("figure", { class: "plot" }, el("figcaption", {}, el("span", { class: "unseen" }, title + " "), el("small", {}, about)), this.holder, el("div", { class: "reading" }, this.slider, this.values), this.missing);
		this.holder.addEventListener("pointermove", (/** @type {PointerEvent} */ e) => this.point(e));
		this.holder.addEventListener("pointerdown", (/** @type {PointerEvent} */ e) => this.point(e));
		/** @type {Plot | null} */
		this.plot = null;
		this.reader = svg("line", { class: "reader" });
		this.alive = svg("path", { class: "alive" });
		this.k = -1;
	}

	/** @param {Plot | null} plot @param {string} sounding @param {string} why there is nothing to see */
	show(plot, sounding, why) {
		this.plot = plot;
		this.sounding = sounding;
		this.holder.hidden = this.slider.hidden = this.values.hidden = !plot;
		this.missing.hidden = Boolean(plot);
		say(this.missing, why);
		if (!plot) return;
		const all = [...plot.series.flatMap(s => s.y), ...(plot.extra ?? []).flatMap(s => s.y)].filter(v => v !== null && Number.isFinite(v)).map(Number);
		let lo = all.length ? Math.min(...all) : 0, hi = all.length ? Math.max(...all) : 1;
		if (plot.range) lo = Math.max(lo, hi + plot.range[0]), hi = Math.max(hi, lo + plot.range[1]);
		const pad = Math.max(1, 0.06 * (hi - lo));
		lo -= pad, hi += pad;
		const n = plot.x.length, x0 = plot.log ? Math.log(20) : 0, x1 = plot.log ? Math.log(20000) : Math.max(1, n - 1);
		const inset = plot.log ? 0 : Math.min(40, (wide - left - right) / (2 * Math.max(1, n)));
		this.x = (/** @type {number} */ k) => left + inset + (wide - left - right - 2 * inset) * ((plot.log ? Math.log(plot.x[k]) : k) - x0) / (x1 - x0);
		const xOf = (/** @type {number} */ f) => left + (wide - left - right) * (Math.log(f) - x0) / (x1 - x0);
		const y = (/** @type {number} */ v) => top + (high - top - bottom) * (hi - Math.min(hi, Math.max(lo, v))) / (hi - lo);
		const parts = [];
		for (const t of ticks(lo, hi)) {
			parts.push(svg("line", { class: "grid", x1: left, x2: wide - right, y1: y(t), y2: y(t) }), svg("text", { x: left - 8, y: y(t) + 4, "text-anchor": "end" }, num(t, 0)));
		}
		if (plot.log) {
			for (let d = 10; d <= 10000; d *= 10) for (let m = 1; m < 10; m++) {
				const f = d * m;
				if (f < 20 || f > 20000) continue;
				parts.push(svg("line", { class: "grid" + (m === 1 ? " strong" : ""), x1: xOf(f), x2: xOf(f), y1: top, y2: high - bottom }));
			}
			for (const f of [20, 100, 200, 500, 1000, 2000, 5000, 20000]) {
				parts.push(svg("text", { x: xOf(f), y: high - 10, "text-anchor": f === 20 ? "start" : f === 20000 ? "end" : "middle" }, f < 1000 ? (f === 20 ? "20 Hz" : String(f)) : f / 1000 + "k"));
			}
		} else {
			const fits = (wide - left - right) / Math.max(1, n) > 7 * Math.max(...plot.names.map(s => s.length)), every = fits ? 1 : Math.ceil(Math.max(...plot.names.map(s => s.length)) * 7.4 / ((wide - left - right) / n));
			plot.names.forEach((name, k) => {
				parts.push(svg("line", { class: "grid", x1: this.x?.(k), x2: this.x?.(k), y1: top, y2: high - bottom }));
				if (k % every === 0) parts.push(svg("text", { x: this.x?.(k), y: high - 10, "text-anchor": "middle" }, name));
			});
		}
		/** @param {(number | null)[]} v */
		const path = v => {
			let d = "", pen = false;
			v.forEach((value, k) => {
				if (value === null || !Number.isFinite(value)) { pen = false; return; }
				d += `${pen ? "L" : "M"}${this.x?.(k).toFixed(1)} ${y(Number(value)).toFixed(1)}`;
				pen = true;
			});
			return d;
		};
		for (const e of plot.extra ?? []) parts.push(svg("path", { class: "line " + e.cls, d: path(e.y) }));
		for (const s of [...plot.series].sort((p, q) => Number(p.side === sounding) - Number(q.side === sounding))) {
			parts.push(svg("path", { class: `line side-${s.side.toLowerCase()}${s.side === sounding ? " sounding" : " other"}`, d: path(s.y) }));
			if (!plot.log) s.y.forEach((v, k) => {
				if (v !== null && Number.isFinite(v)) parts.push(svg("circle", { class: `dot side-${s.side.toLowerCase()}${s.side === sounding ? " sounding" : " other"}`, cx: this.x?.(k), cy: y(v), r: 3.5 }));
			});
		}
		this.y = y;
		parts.unshift(this.alive);
		parts.push(svg("text", { x: left + 4, y: top + 12 }, plot.unit), this.reader);
		for (const [at, k] of [["--from", 0], ["--to", n - 1]]) this.slider.style.setProperty(String(at), String(this.x(Number(k)))); // its thumb stands under the reader
		this.reader.setAttribute("y1", String(top));
		this.reader.setAttribute("y2", String(high - bottom));
		this.drawing.replaceChildren(...parts);
		this.slider.max = String(n - 1);
		const at = this.k < 0 || this.k >= n ? (plot.log ? nearest(plot.x, 1000) : 0) : this.k;
		this.slider.value = String(at);
		this.read(at, true);
	}

	/** What sounds at this moment, as bars behind the curves; null where nothing does. @param {(number | null)[] | null} values */
	live(values) {
		const half = 3.5, bottomOf = high - bottom;
		this.alive.setAttribute("d", (values ?? []).map((v, k) => v === null ? "" : `M${(this.x?.(k) - half).toFixed(1)} ${bottomOf}V${this.y?.(v).toFixed(1)}h${2 * half}V${bottomOf}z`).join(""));
	}

	/** @param {number} k @param {boolean} [quietly] */
	read(k, quietly) {
		const p = this.plot;
		if (!p) return;
		if (!quietly) this.k = k;
		const name = p.log ? hertz(p.x[k]) : p.names[k];
		const parts = p.series.map(s => el("span", { class: "read" }, el("i", { class: `swatch side-${s.side.toLowerCase()}${s.side === this.sounding ? " sounding" : " other"}` }), s.side + " ", el("b", {}, num(s.y[k], 1, p.unit))));
		if (p.series.length === 2) {
			const [a, b] = p.series.map(s => s.y[k]);
			if (a !== null && b !== null && Number.isFinite(a) && Number.isFinite(b)) parts.push(el("span", { class: "read soft" }, "B against A ", el("b", {}, diff(b - a, 1, "dB"))));
		}
		for (const e of p.extra ?? []) if (Number.isFinite(e.y[k])) parts.push(el("span", { class: "read soft" }, e.name + " ", el("b", {}, num(e.y[k], 1, p.unit))));
		say(this.at, name);
		this.values.replaceChildren(this.at, ...parts);
		this.slider.setAttribute("aria-valuetext", name);
		const x = String(this.x?.(k) ?? 0);
		this.reader.setAttribute("x1", x);
		this.reader.setAttribute("x2", x);
	}

	/** @param {PointerEvent} e */
	point(e) {
		const p = this.plot;
		if (!p) return;
		const r = this.drawing.getBoundingClientRect(), x = (e.clientX - r.left) / r.width * wide;
		let best = 0;
		for (let k = 0; k < p.x.length; k++) if (Math.abs(/** @type {any} */ (this).x(k) - x) < Math.abs(/** @type {any} */ (this).x(best) - x)) best = k;
		this.slider.value = String(best);
		this.read(best);
	}
}

/** @param {number[]} all @param {number} v */
const nearest = (all, v) => all.reduce((best, x, k) => Math.abs(x - v) < Math.abs(all[best] - v) ? k : best, 0);

/** Curves of two sides over the same frequencies: the sounding side's, the other's taken where they are. @param {any} a @param {any} b @returns {Plot | null} */
function curves(a, b) {
	const hz = (a?.hz?.length ? a : b)?.hz;
	if (!hz?.length) return null;
	const keep = hz.map((/** @type {number} */ f, /** @type {number} */ k) => k).filter((/** @type {number} */ k) => hz[k] >= 20 && hz[k] <= 20000);
	const x = keep.map((/** @type {number} */ k) => hz[k]);
	/** @type {Series[]} */
	const series = [];
	for (const [side, f] of /** @type {[string, any][]} */ ([["A", a], ["B", b]])) {
		if (!f?.hz?.length) continue;
		series.push({ side, y: f.hz.length === hz.length ? keep.map((/** @type {number} */ k) => f.db[k]) : x.map((/** @type {number} */ v) => f.db[nearest(f.hz, v)]) });
	}
	return { x, names: [], log: true, unit: "dB", series };
}

/** All figures of the page. */
export class Figures {
	constructor() {
		this.root = byId("figures");
		this.ladder = new Figure("Levels along the board", "peak at every input; dotted: ceilings above (where it colours, where it breaks up), noise below");
		this.spectrum = new Figure("Spectrum", "of the output, averaged over the loop; bars: what sounds now");
		this.response = new Figure("Response", "pickup to output, small signals; echoes make it ripple");
		this.noise = el("figure", { class: "plot noise" }, el("figcaption", {}, el("small", {}, "at the output, and where it comes from")));
		this.ledger = el("div", { class: "ledger" });
		this.parts = el("div", { class: "ledger" });
		this.byPart = el("details", {}, el("summary", {}, "Part by part"), this.parts);
		this.noise.append(this.ledger, this.byPart);
		byId("see-ladder").append(this.ladder.root);
		byId("see-spectrum").append(this.spectrum.root);
		byId("see-response").append(this.response.root);
		byId("see-noise").append(this.noise);
	}

	/** The middles of the thirds of an octave of the spectrum, in hertz. */
	thirds() { return this.spectrum.plot?.x ?? []; }

	/** @param {(number | null)[] | null} values of those thirds, now, in dBu; null where nothing sounds */
	live(values) { this.spectrum.live(values); }

	/** @param {Record<string, any>} sides figures of A and B, or null @param {Record<string, boolean>} stale @param {string} sounding */
	show(sides, stale, sounding) {
		const other = sounding === "A" ? "B" : "A", mine = sides[sounding], theirs = sides[other];
		this.root.classList.toggle("stale", Boolean(stale[sounding]) && Boolean(mine));
		this.root.classList.toggle("stale-other", Boolean(stale[other]) && Boolean(theirs));
		this.root.setAttribute("aria-busy", String(Boolean(stale[sounding])));
		const why = "Comes as soon as the sound is computed.";
		const all = mine?.jacks ?? [], jacks = all.filter((/** @type {any} */ j, /** @type {number} */ k) => Number.isFinite(j.peak_dbu) && (j.jack.endsWith(".in") || !j.block || k === all.length - 1));
		/** @type {Plot | null} */
		let ladder = null;
		if (jacks.length) {
			const name = (/** @type {any} */ j) => j.jack.replace(/\.in$/, "");
			for (const j of theirs?.jacks ?? []) if (j.jack.endsWith(".in") && Number.isFinite(j.peak_dbu) && !jacks.some((/** @type {any} */ k) => k.jack === j.jack)) { // what only the other side has
				const behind = theirs.jacks.slice(0, theirs.jacks.indexOf(j)).reverse().find((/** @type {any} */ k) => jacks.some((/** @type {any} */ o) => o.jack === k.jack));
				jacks.splice(behind ? 1 + jacks.findIndex((/** @type {any} */ o) => o.jack === behind.jack) : 0, 0, { jack: j.jack, block: j.block, peak_dbu: null, colour_dbu: j.colour_dbu, ceiling_dbu: j.ceiling_dbu, noise_dbu: null });
			}
			const at = (/** @type {any} */ f) => jacks.map((/** @type {any} */ j) => f?.jacks?.find((/** @type {any} */ o) => o.jack === j.jack)?.peak_dbu ?? null);
			const names = jacks.map(name);
			ladder = { x: jacks.map((/** @type {any} */ _, /** @type {number} */ k) => k), names, log: false, unit: "dBu",
				series: [...(sounding === "A" || theirs ? [{ side: "A", y: sounding === "A" ? jacks.map((/** @type {any} */ j) => j.peak_dbu) : at(theirs) }] : []),
					...(sounding === "B" || theirs ? [{ side: "B", y: sounding === "B" ? jacks.map((/** @type {any} */ j) => j.peak_dbu) : at(theirs) }] : [])],
				extra: [{ name: "ceiling", cls: "ceiling", y: jacks.map((/** @type {any} */ j) => Number.isFinite(j.ceiling_dbu) && j.ceiling_dbu < 30 ? j.ceiling_dbu : null) },
					{ name: "colours", cls: "ceiling", y: jacks.map((/** @type {any} */ j) => Number.isFinite(j.colour_dbu) && j.colour_dbu < 30 ? j.colour_dbu : null) },
					{ name: "noise", cls: "floor", y: jacks.map((/** @type {any} */ j) => Number.isFinite(j.noise_dbu) ? j.noise_dbu : null) }] };
		}
		this.ladder.show(ladder, sounding, why);
		const spectrum = curves(sides.A?.spectrum, sides.B?.spectrum), response = curves(sides.A?.response, sides.B?.response);
		this.spectrum.show(spectrum && { ...spectrum, unit: "dBu", range: [-80, 20] }, sounding, why);
		this.response.show(response && { ...response, range: [-60, 12] }, sounding, why);
		this.showNoise(sides, sounding, why);
		const missing = [...new Set([...(mine?.not_measurable ?? []), ...(theirs?.not_measurable ?? [])])];
		byId("missing").replaceChildren(...missing.map(m => el("li", {}, m)));
		byId("not-measured").hidden = !missing.length;
	}

	/** @param {Record<string, any>} sides @param {string} sounding @param {string} why */
	showNoise(sides, sounding, why) {
		const order = [sounding, sounding === "A" ? "B" : "A"];
		/** What each side has under a name, powers added, the largest first. @param {(n: any) => string} name @param {number} most */
		const rowsBy = (name, most) => {
			/** @type {Map<string, Record<string, {dbu: number, share: number}>>} */
			const sources = new Map();
			for (const side of order) for (const n of sides[side]?.noise ?? []) {
				if (!Number.isFinite(n.dbu)) continue;
				const row = sources.get(name(n)) ?? {}, had = row[side];
				row[side] = had ? { dbu: 10 * Math.log10(10 ** (had.dbu / 10) + 10 ** (n.dbu / 10)), share: had.share + n.share } : { dbu: n.dbu, share: n.share };
				sources.set(name(n), row);
			}
			return [...sources].sort((p, q) => Math.max(q[1].A?.share ?? 0, q[1].B?.share ?? 0) - Math.max(p[1].A?.share ?? 0, p[1].B?.share ?? 0)).slice(0, most);
		};
		/** @param {any} n */
		const part = n => (n.source ?? "").replace(new RegExp("^" + (n.block ?? "").replace(/\W/g, "\\$&") + "\\."), "").replace(/[._]/g, " ");
		const rows = rowsBy(n => n.block || part(n), 8);
		this.byPart.hidden = !rows.length;
		if (!rows.length) {
			this.ledger.replaceChildren(el("p", { class: "missing soft" }, why));
			return;
		}
		const greatest = Math.max(0.01, ...rows.flatMap(([, r]) => [r.A?.share ?? 0, r.B?.share ?? 0]));
		/** @param {any} n @param {string} side */
		const bar = (n, side) => {
			const b = el("span", { class: `share side-${side.toLowerCase()}${side === sounding ? " sounding" : " other"}` });
			b.style.setProperty("--share", String((n?.share ?? 0) / greatest));
			return el("dd", {}, el("span", { class: "of" }, side), el("span", { class: "room" }, b), el("span", { class: "dbu" }, n ? num(n.dbu, 1, "dBu") : "\u2013"), el("span", { class: "soft" }, n ? num(100 * n.share, n.share < 0.1 ? 1 : 0, "%") : ""));
		};
		const have = ["A", "B"].filter(s => sides[s]?.noise);
		/** @param {[string, Record<string, any>][]} rows @param {...HTMLElement} more */
		const list = (rows, ...more) => el("dl", {}, ...rows.map(([name, r]) => el("div", {}, el("dt", {}, name), ...have.map(s => bar(r[s], s)))), ...more);
		const total = el("div", { class: "total" }, el("dt", {}, "all together"), ...have.map(s => el("dd", {}, el("span", { class: "of" }, s), el("span", { class: "dbu" }, num(sides[s].noise_total_dbu, 1, "dBu")))));
		this.ledger.replaceChildren(list(rows, total));
		this.parts.replaceChildren(list(rowsBy(n => n.block && part(n) && part(n) !== n.block ? `${n.block}, ${part(n)}` : n.block || part(n), 8)));
	}
}
