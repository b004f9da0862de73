// @ts-check
// Where a noise on the real floor comes from: the most informative test for its cost, what was heard, and the next one.
import { byId, el, count } from "./dom.js";
import { ask } from "./wire.js";

export class Hunt {
	/** @param {{ask: () => {session: string, side: string}, fault: (e: any) => void, announce: (text: string) => void}} page */
	constructor(page) {
		this.page = page;
		/** @type {string[]} */
		this.answers = [];
		this.side = "";
		/** What a noise may sound like. @type {string[]} */
		this.sounds = [];
		byId("hunt").append(this.begin());
	}

	begin() {
		return el("button", { type: "button", onclick: () => { this.answers = []; this.side = this.page.ask().side; this.go(); } }, "Find where a noise on the floor comes from");
	}

	async go() {
		const { session } = this.page.ask();
		try {
			const { step, cautions } = await ask("hunt", { session, side: this.side, answers: this.answers });
			const first = !this.answers.length;
			if (first) this.sounds = step.words;
			/** @param {string} word @param {string} [text] */
			const press = (word, text = word) => el("button", { type: "button", onclick: () => { this.answers.push(word); this.go(); } }, text);
			const changes = step.words.filter((/** @type {string} */ w) => !this.sounds.includes(w) && w !== "skip"), others = step.words.filter((/** @type {string} */ w) => this.sounds.includes(w));
			const cost = step.tests ? `${count(step.tests, "test")}, ${count(step.plugs, "plug")} and ${step.minutes < 1 ? "less than 1" : step.minutes.toFixed(0)} min so far.` : "";
			byId("hunt").replaceChildren(...[
				el("h3", {}, `Where the noise of ${this.side} comes from`),
				this.answers.length < 2 ? el("p", { class: "caution" }, cautions) : "",
				el("p", { class: "found" }, step.said || step.ask),
				changes.length ? el("div", { class: "row" }, el("span", {}, `The ${this.answers[0]} is`), ...changes.map((/** @type {string} */ w) => press(w))) : "",
				others.length ? el("div", { class: "row" }, first ? "" : el("span", {}, "or gone, and left is"), ...others.map((/** @type {string} */ w) => press(w))) : "",
				step.likeliest ? el("p", { class: "soft small" }, `Likeliest so far: ${step.likeliest}.`) : "",
				cost ? el("p", { class: "soft small" }, cost) : "",
				el("div", { class: "row" }, step.words.includes("skip") ? press("skip", "I cannot do this") : "", first ? "" : el("button", { type: "button", onclick: () => { this.answers.pop(); this.go(); } }, "Take the last answer back"), step.said ? this.begin() : ""),
			].filter(Boolean));
			byId("hunt").querySelector("button")?.focus();
			this.page.announce(step.said || step.ask);
		} catch (e) {
			this.answers.pop();
			this.page.fault(e);
		}
	}
}
