// @ts-check
// The blind test. The program knows what X is; the page plays it and shows nothing of it, not even in what it draws behind the test.
import { ask } from "./wire.js";
import { byId, say, num, count } from "./dom.js";

export class Trial {
	/** @param {{session: () => string, region: () => number[], sound: any, fault: (e: any) => void, over: () => void}} page */
	constructor(page) {
		this.page = page;
		this.box = byId("trial");
		this.id = "";
		this.number = 0;
		this.answered = 0;
		this.busy = false;
		this.hearing = "A";
		this.levels = false;
		this.leaving = false; // Enter is held in the result
		this.side = "A"; // that sounded before: the one that sounds last would tell what X was
		/** What X is, in this closure alone. @type {() => string} */
		this.hidden = () => "A";
		for (const s of ["a", "x", "b"]) byId("abx-" + s).addEventListener("click", () => this.hear(s.toUpperCase()));
		byId("answer-a").addEventListener("click", () => this.answer("A"));
		byId("answer-b").addEventListener("click", () => this.answer("B"));
		byId("trial-end").addEventListener("click", () => this.finish());
		byId("trial-play").addEventListener("click", () => this.toggle());
		byId("result-close").addEventListener("click", () => this.box.close());
		this.box.addEventListener("cancel", (/** @type {Event} */ e) => {
			if (this.id) {
				e.preventDefault();
				this.finish();
			}
		});
		this.box.addEventListener("close", () => {
			this.page.sound.hear(this.side);
			this.page.over();
		});
		// at the key's end: else the rest of the press would go to the button that began the test
		this.box.addEventListener("keyup", (/** @type {KeyboardEvent} */ e) => {
			if (this.leaving && e.key === "Enter") this.box.close();
			this.leaving = false;
		});
		this.box.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
			if (!this.id && e.key === "Enter" && !/** @type {HTMLElement} */ (e.target).matches("button")) {
				this.leaving = true;
				e.preventDefault();
				return;
			}
			if (!this.id || e.ctrlKey || e.altKey || e.metaKey) return;
			const k = e.key.toUpperCase();
			if (k === "A" || k === "B" || k === "X") this.hear(k);
			else if (k === "1" || k === "2") { if (!e.repeat) this.answer(k === "1" ? "A" : "B"); }
			else if (k === " " && !/** @type {HTMLElement} */ (e.target).matches("button")) this.toggle();
			else return;
			e.preventDefault();
			e.stopPropagation();
		});
	}

	running() { return this.box.open; }

	async start() {
		const s = this.page.sound;
		try {
			const r = await ask("test/start", { session: this.page.session(), seed: 0, region: this.page.region() });
			this.id = r.test;
			this.levels = s.trueLevels;
			this.side = s.side;
			s.setTrueLevels(false);
			this.answered = 0;
			this.next(r);
			byId("trial-run").hidden = false;
			byId("trial-result").hidden = true;
			this.box.showModal();
			byId("abx-x").focus();
			this.hear("A");
			if (!s.playing) await s.play();
			this.shown();
		} catch (e) {
			this.id = "";
			this.page.fault(e);
		}
	}

	/** @param {any} r */
	next(r) {
		const x = r.x === "B" ? "B" : "A";
		this.hidden = () => x;
		this.number = r.trial;
		say(byId("trial-count"), `Blind test, trial ${this.number}`);
		this.shown();
	}

	/** @param {string} which */
	hear(which) {
		this.hearing = which;
		this.page.sound.hear(which === "X" ? this.hidden() : which);
		for (const s of ["a", "x", "b"]) byId("abx-" + s).setAttribute("aria-pressed", String(s.toUpperCase() === which));
	}

	toggle() {
		const s = this.page.sound;
		if (s.playing) s.stop();
		else s.play();
		this.shown();
	}

	shown() {
		const s = this.page.sound;
		byId("trial-play").firstChild.textContent = s.playing ? "Stop the sound " : "Play ";
		const ready = s.holds("A") && s.holds("B");
		byId("answer-a").disabled = byId("answer-b").disabled = this.busy || !ready;
		say(byId("trial-end").firstChild, this.answered ? `Finish after ${count(this.answered, "answer")} ` : "Leave ");
		if (this.id && !ready) say(byId("trial-count"), `Blind test, trial ${this.number}: both sounds are being computed first…`);
		else if (this.id) say(byId("trial-count"), `Blind test, trial ${this.number}`);
	}

	/** @param {string} side */
	async answer(side) {
		if (this.busy || !this.id || byId("answer-a").disabled) return;
		this.busy = true;
		try {
			const r = await ask("test/answer", { session: this.page.session(), test: this.id, trial: this.number, answer: side });
			this.answered++;
			this.next(r);
			this.hear("X");
			say(byId("trial-said"), `Answer ${this.answered} noted. Trial ${this.number}: a new X.`);
		} catch (e) {
			this.page.fault(e);
		} finally {
			this.busy = false;
			this.shown();
		}
	}

	async finish() {
		const id = this.id;
		if (!id || this.busy) return;
		this.id = "";
		this.page.sound.setTrueLevels(this.levels);
		try {
			const r = await ask("test/finish", { session: this.page.session(), test: id });
			if (!this.answered) {
				this.box.close();
				return;
			}
			say(byId("result-title"), `${r.correct} of ${r.trials} right`);
			say(byId("result-right"), `${r.correct} of ${r.trials}`);
			say(byId("result-p"), r.p < 0.001 ? "under 0.001" : num(r.p, 3));
			say(byId("result-d"), num(r.d_prime, 2));
			say(byId("result-sentence"), r.sentence ?? "");
			say(byId("result-file"), r.file ? `Written beside the chain file as ${r.file}.` : "");
			byId("test").title = (`Last result: ${r.correct} of ${r.trials} right, p ${r.p < 0.001 ? "under 0.001" : num(r.p, 3)}.`);
			byId("trial-run").hidden = true;
			byId("trial-result").hidden = false;
			byId("result-title").focus();
		} catch (e) {
			this.box.close();
			this.page.fault(e);
		}
	}
}
