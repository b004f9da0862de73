// @ts-check
// A knob of the block that is chosen, turned from end to end: its travel, and what limits its useful range.
import { el, say } from "./dom.js";
import { answer } from "./why.js";

export class Travel {
	/** @param {{ask: () => {session: string, side: string, region: number[]}, fault: (e: any) => void, announce: (text: string) => void}} page */
	constructor(page) {
		this.page = page;
		/** @type {AbortController | null} */
		this.stop = null;
		this.block = "";
		this.shape = "";
		this.select = el("select", { "aria-label": "The knob that is turned from end to end" });
		this.go = el("button", { type: "button", onclick: () => this.stop ? this.stop.abort() : this.ask() }, "Turn it from end to end");
		this.box = el("div", { class: "answer", "aria-live": "polite" });
		this.root = el("div", { class: "travel" }, el("div", { class: "row" }, this.select, this.go), this.box);
	}

	/** @param {string} block @param {any[]} knobs that are turned @param {boolean} on whether the signal runs through it */
	show(block, knobs, on) {
		this.root.hidden = !on || !knobs.length;
		const shape = block + JSON.stringify(knobs.map(k => k.name));
		if (shape === this.shape) return;
		this.stop?.abort();
		this.shape = shape;
		this.block = block;
		this.box.replaceChildren();
		this.select.replaceChildren(...knobs.map(k => el("option", { value: k.name }, k.name.replaceAll("_", " "))));
	}

	async ask() {
		const stop = this.stop = new AbortController(), { block, shape } = this;
		say(this.go, "Cancel");
		const end = await answer("sweep", { ...this.page.ask(), block, knob: this.select.value }, this.box, "positions", stop.signal, this.page.fault);
		this.stop = null;
		say(this.go, "Turn it from end to end");
		if (!end || shape !== this.shape) return;
		// as a picture of its own it does not see the page's colour
		const picture = end.svg.replaceAll("currentColor", getComputedStyle(document.documentElement).getPropertyValue("--ink"));
		this.box.replaceChildren(el("p", { class: "found" }, end.sentence), el("img", { src: "data:image/svg+xml," + encodeURIComponent(picture), alt: [end.sentence, ...end.ends].join(" ") }));
		this.page.announce(end.sentence);
	}
}
