// @ts-check
// The recording's waveform with the place that is heard and the region that is looped, both moved by pointer and by keyboard.
import { el, svg, say, time } from "./dom.js";

export class Wave {
	/** @param {HTMLElement} root @param {HTMLElement} times @param {{seek: (frame: number) => void, region: (r: number[]) => void}} wish */
	constructor(root, times, wish) {
		this.root = root;
		this.times = times;
		this.wish = wish;
		this.frames = 1;
		this.rate = 48000;
		this.longest = Infinity;
		this.region = [0, 1];
		this.shape = "";
		this.place = 0;
		this.path = svg("path", {});
		this.drawing = svg("svg", { preserveAspectRatio: "none", "aria-hidden": "true" }, this.path);
		this.before = el("div", { class: "outside" });
		this.after = el("div", { class: "outside" });
		this.head = this.slider("head", "Place in the recording", d => this.wish.seek(this.place + d), f => this.wish.seek(f));
		this.begin = this.slider("edge begin", "The loop begins", d => this.set(this.region[0] + d, this.region[1]), f => this.set(f, this.region[1]));
		this.end = this.slider("edge end", "The loop ends", d => this.set(this.region[0], this.region[1] + d), f => this.set(this.region[0], f));
		root.append(this.drawing, this.before, this.after, this.begin, this.end, this.head);
		root.addEventListener("pointerdown", e => this.point(e));
	}

	/** @param {string} cls @param {string} label @param {(frames: number) => void} by @param {(frame: number) => void} to */
	slider(cls, label, by, to) {
		return el("div", { class: cls, role: "slider", tabindex: 0, "aria-label": label, "aria-valuemin": 0, "aria-orientation": "horizontal", onkeydown: (/** @type {KeyboardEvent} */ e) => {
			if (e.ctrlKey || e.metaKey || e.altKey) return;
			const d = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[e.key];
			if (d) by(d * (e.shiftKey ? 5 : 1) * (cls === "head" ? 1 : 0.1) * this.rate);
			else if (e.key === "Home") to(0);
			else if (e.key === "End") to(this.frames);
			else return;
			e.preventDefault();
			e.stopPropagation();
		} });
	}

	/** @param {any} recording @param {number} longest */
	show(recording, longest) {
		this.frames = Math.max(1, recording.frames);
		this.rate = recording.rate;
		this.longest = longest || Infinity;
		const w = recording.waveform ?? [], shape = recording.name + this.frames + w.length;
		if (shape === this.shape) return;
		this.shape = shape;
		let most = 1e-9;
		for (const [a, b] of w) most = Math.max(most, Math.abs(a), Math.abs(b));
		const y = (/** @type {number} */ v) => (50 - 48 * v / most).toFixed(1);
		this.drawing.setAttribute("viewBox", `0 0 ${w.length || 1} 100`);
		this.path.setAttribute("d", w.length ? "M" + w.map((/** @type {number[]} */ p, /** @type {number} */ k) => `${k} ${y(p[1])}`).join("L") + "L" + w.map((/** @type {number[]} */ p, /** @type {number} */ k) => `${k} ${(Number(y(p[0])) + 0.6).toFixed(1)}`).reverse().join("L") + "Z" : "");
		const seconds = this.frames / this.rate, step = [0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600].find(s => seconds / s <= 9) ?? 1200;
		this.times.replaceChildren();
		for (let t = 0; t < seconds - step / 3; t += step) {
			const s = el("span", {}, t === 0 ? "0 s" : time(t).replace(/\.0$/, ""));
			s.style.left = 100 * t / seconds + "%";
			this.times.append(s);
		}
		for (const s of [this.head, this.begin, this.end]) s.setAttribute("aria-valuemax", seconds.toFixed(1));
	}

	/** @param {number[]} region */
	showRegion(region) {
		this.region = region;
		const [a, b] = region.map(f => 100 * f / this.frames);
		this.before.style.width = a + "%";
		this.after.style.left = b + "%";
		this.begin.style.left = a + "%";
		this.end.style.left = b + "%";
		this.before.hidden = region[0] <= 0;
		this.after.hidden = region[1] >= this.frames;
		this.value(this.begin, region[0]);
		this.value(this.end, region[1]);
	}

	/** @param {number} frame */
	showPlace(frame) {
		this.place = frame;
		this.head.style.transform = `translateX(${this.root.clientWidth * frame / this.frames}px)`;
		if (document.activeElement === this.head || !this.head.hasAttribute("aria-valuenow")) this.value(this.head, frame);
	}

	/** @param {HTMLElement} slider @param {number} frame */
	value(slider, frame) {
		slider.setAttribute("aria-valuenow", (frame / this.rate).toFixed(1));
		slider.setAttribute("aria-valuetext", time(frame / this.rate) + " seconds");
	}

	/** A region that the program can take: within the recording, neither too short nor too long. @param {number} a @param {number} b @param {boolean} [still] the hand is not done yet */
	set(a, b, still) {
		const least = Math.min(this.frames, 0.25 * this.rate);
		a = Math.round(Math.min(Math.max(0, a), this.frames));
		b = Math.round(Math.min(Math.max(0, b), this.frames));
		if (b - a < least) {
			if (a !== this.region[0]) a = Math.max(0, b - least);
			else b = Math.min(this.frames, a + least);
			if (b - a < least) a = 0, b = Math.round(least);
		}
		if (b - a > this.longest) {
			if (a !== this.region[0]) b = a + this.longest;
			else a = b - this.longest;
		}
		const region = [Math.round(a), Math.round(b)];
		if (still) this.showRegion(region);
		else this.wish.region(region);
	}

	/** A click goes to a place; a drag marks the region, or moves the edge it began on. @param {PointerEvent} e */
	point(e) {
		if (e.button !== 0) return;
		const r = this.root.getBoundingClientRect(), from = e.clientX, kept = this.region;
		const at = (/** @type {number} */ x) => this.frames * Math.min(1, Math.max(0, (x - r.left) / r.width));
		const on = /** @type {HTMLElement} */ (e.target), edge = on === this.begin ? 0 : on === this.end ? 1 : -1;
		let dragged = false;
		this.root.setPointerCapture(e.pointerId);
		const move = (/** @type {PointerEvent} */ m) => {
			if (!dragged && Math.abs(m.clientX - from) < 5) return;
			dragged = true;
			if (edge === 0) this.set(Math.min(at(m.clientX), kept[1]), kept[1], true);
			else if (edge === 1) this.set(kept[0], Math.max(at(m.clientX), kept[0]), true);
			else this.set(Math.min(at(from), at(m.clientX)), Math.max(at(from), at(m.clientX)), true);
		};
		const done = (/** @type {PointerEvent} */ m) => {
			this.root.removeEventListener("pointermove", move);
			this.root.removeEventListener("pointerup", done);
			this.root.removeEventListener("pointercancel", done);
			if (m.type === "pointercancel") this.showRegion(kept);
			else if (dragged) this.wish.region(this.region);
			else if (edge < 0) this.wish.seek(at(m.clientX));
		};
		this.root.addEventListener("pointermove", move);
		this.root.addEventListener("pointerup", done);
		this.root.addEventListener("pointercancel", done);
		if (edge >= 0) on.focus();
	}
}
