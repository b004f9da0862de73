// @ts-check
// A complaint in a player's words: what causes it, and what to do, each as a side B to listen to.
import { byId, el, say, count } from "./dom.js";
import { Refusal, stream } from "./wire.js";

/**
 * Asks a question whose answer takes long: says how far it is in a box, and gives the answer; null where it was cancelled or failed, which is said.
 * @param {string} what @param {any} body @param {HTMLElement} box @param {string} unit @param {AbortSignal} signal @param {(e: any) => void} fault
 */
export async function answer(what, body, box, unit, signal, fault) {
	const began = performance.now(), bar = el("progress", { max: 1, value: 0, "aria-label": "How far the search is" }), left = el("p", { class: "soft small" }, "Changing one thing at a time and simulating again…");
	box.replaceChildren(bar, left);
	try {
		/** @type {any} */
		let end = null;
		await stream(what, body, {
			json: (type, v) => {
				if (type === 5) {
					end = v;
					return;
				}
				bar.value = v.done / v.total;
				say(left, `${v.done} of ${v.total} ${unit} tried, about ${Math.ceil((performance.now() - began) / 1000 * (v.total - v.done) / v.done)} s left`);
			},
			audio: () => {},
		}, signal);
		if (!end || end.error) throw new Refusal(end?.error ?? "The answer broke off.", 0, null);
		return end;
	} catch (e) {
		box.replaceChildren();
		fault(e);
		return null;
	}
}

// What a goal may leave as it is: why.ParseGoal has them all.
const limits = ["no more distortion", "no more noise", "no less bass", "no less treble", "no less sustain"];

export class Why {
	/** @param {{ask: () => {session: string, side: string, region: number[]}, op: (op: any) => Promise<boolean>, fault: (e: any) => void, announce: (text: string) => void}} page */
	constructor(page) {
		this.page = page;
		/** @type {AbortController | null} */
		this.stop = null;
		/** @param {string} form @param {() => Promise<void>} ask */
		const asks = (form, ask) => byId(form).addEventListener("submit", (/** @type {Event} */ e) => {
			e.preventDefault();
			if (this.stop) this.stop.abort();
			else ask();
		});
		asks("complain", () => this.ask("why", { complaint: byId("complaint").value }, "ask-why", "Find out why"));
		asks("goal", () => this.ask("goal", { goal: this.goal() }, "ask-goal", "Find settings"));
		byId("limits").append(...limits.map(text => el("label", { class: "check" }, el("input", { type: "checkbox", value: text }), ` ${text}`)));
	}

	/** The goal as the command reads it, but for the take. */
	goal() {
		const kept = [...byId("limits").querySelectorAll("input:checked")].map((/** @type {any} */ box) => ", " + box.value).join("");
		return `${byId("by").value} LU ${byId("direction").value} than ${byId("than").value}${kept}`;
	}

	/** @param {any} state @param {string} side that sounds */
	show(state, side) {
		const select = byId("complaint");
		if (!select.children.length) select.append(...state.complaints.map((/** @type {any} */ c) => el("option", { value: c.word }, c.says)));
		const name = state.sides[side].take, than = byId("than"), was = than.value;
		say(byId("complained-of"), `${side}, ${name}`);
		say(byId("wanted"), `${side}, ${name},`);
		const others = [...new Set([...state.takes, ...state.presets])].filter(n => n !== name);
		byId("aim").hidden = !others.length;
		than.replaceChildren(...others.map(n => el("option", {}, n)));
		if (others.includes(was)) than.value = was;
	}

	/** @param {string} what @param {any} question @param {string} button @param {string} label */
	async ask(what, question, button, label) {
		const stop = this.stop = new AbortController(), other = byId(button === "ask-why" ? "ask-goal" : "ask-why");
		say(byId(button), "Cancel");
		other.disabled = true;
		const end = await answer(what, { ...this.page.ask(), ...question }, byId("answer"), "changes", stop.signal, this.page.fault);
		if (end) {
			this.told(end);
			this.page.announce(end.answer.sentence);
		}
		this.stop = null;
		other.disabled = false;
		say(byId(button), label);
	}

	/** @param {{answer: any, texts: string[]}} end */
	told({ answer, texts }) {
		const fixes = answer.fixes.map((/** @type {any} */ f, /** @type {number} */ k) => {
			const hear = el("button", { type: "button", onclick: async () => {
				if (await this.page.op({ do: "fix", number: k, name: f.text })) this.page.announce(`${f.text}: taken over as side B.`);
			} }, "Hear it as B");
			return el("li", {}, el("b", {}, f.text[0].toUpperCase() + f.text.slice(1)), `. Then: ${texts[k]}${f.cures ? ", which cures it" : ""}. ${f.plugs ? count(f.plugs, "plug") + " to move" : "No plug to move"}. Else: ${f.side}. `, hear);
		});
		const out = (answer.ruled_out ?? []).map((/** @type {any} */ c) => c.blocks.join(" and ")).join(", ");
		byId("answer").replaceChildren(...[
			el("p", { class: "found" }, answer.sentence),
			fixes.length ? el("h4", {}, "What to do, best first") : "",
			fixes.length ? el("ol", { class: "fixes" }, ...fixes) : "",
			answer.holds && out ? el("p", {}, el("b", {}, "Ruled out: "), out + " (taken out, nothing changes).") : "",
			answer.confirm ? el("p", {}, el("b", {}, "On the floor: "), answer.confirm) : "",
			answer.held ? el("p", { class: "soft small" }, answer.held[0].toUpperCase() + answer.held.slice(1) + ".") : "",
			answer.unknown ? el("p", { class: "soft small" }, `Not known here: ${answer.unknown}.`) : "",
		].filter(Boolean));
	}
}
