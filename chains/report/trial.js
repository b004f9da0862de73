{
	/**
	 * A blind test of the form A/B/X on the page itself: the same rules, numbers and sentences as those of experiment.ListeningTest, to which a test
	 * of the page holds them. Nothing of it is kept, and nothing sent.
	 */
	const byId = (/** @type {string} */ id) => /** @type {any} */ (document.getElementById(id));

	/** Sixteen trials and one chance in twenty: common practice, no source. Who goes on has a plan of twice as many, and so on. */
	const planned = 16, significance = 0.05, most = 1000;

	/** ln n! for n from 0. */
	const factorials = [0];
	for (let n = 1; n <= most; n++) factorials.push(factorials[n - 1] + Math.log(n));

	/** The chance of at least k of n where each has the chance p. @param {number} k @param {number} n @param {number} p */
	const tail = (k, n, p) => {
		if (k <= 0) return 1;
		let sum = 0;
		for (let j = n; j >= k; j--) sum += Math.exp(factorials[n] - factorials[j] - factorials[n - j] + j * Math.log(p) + (n - j) * Math.log1p(-p));
		return Math.min(1, sum);
	};

	/** Where a rising condition becomes true. @param {number} b @param {(v: number) => boolean} holds */
	const solve = (b, holds) => {
		let a = 0;
		for (let k = 0; k < 80; k++) {
			const m = (a + b) / 2;
			if (holds(m)) b = m;
			else a = m;
		}
		return (a + b) / 2;
	};

	/** The exact interval of a share at 95 %, by inverting both tails (Biometrika 26 (1934) 404-413). @param {number} k @param {number} n */
	const proportion = (k, n) => [
		k > 0 ? solve(1, p => tail(k, n, p) > 0.025) : 0,
		k < n ? solve(1, p => 1 - tail(k + 1, n, p) < 0.025) : 1,
	];

	/** The normal distribution, by the series of the error function (Handbook of Mathematical Functions, 7.1.6). @param {number} z */
	const phi = z => {
		const x = z / Math.SQRT2;
		if (Math.abs(x) > 6) return x > 0 ? 1 : 0;
		let term = x, sum = x;
		for (let n = 1; Math.abs(term) > 1e-17 * Math.abs(sum); n++) sum += term *= 2 * x * x / (2 * n + 1);
		return 0.5 + sum * Math.exp(-x * x) / Math.sqrt(Math.PI);
	};

	/** How far apart two sounds are for a listener who is right that often: experiment.DPrime. @param {number} right */
	const dPrime = right => {
		if (right <= 0.5) return 0;
		if (right >= 1) return Infinity;
		return solve(50, d => phi(d / Math.SQRT2) * phi(d / Math.sqrt(6)) + phi(-d / Math.SQRT2) * phi(-d / Math.sqrt(6)) >= right);
	};

	/** @param {number} n */
	const plan = n => {
		let trials = planned, stages = 1;
		for (; trials < n; stages++) trials *= 2;
		return { trials, stages };
	};

	/** After which trial it could not come out any more that they are told apart, within what was planned then; 0 for none. @param {boolean[]} right */
	const hopeless = right => {
		let correct = 0;
		for (let n = 1; n <= right.length; n++) {
			if (right[n - 1]) correct++;
			const { trials } = plan(n);
			if (tail(correct + trials - n, trials, 0.5) > significance) return n;
		}
		return 0;
	};

	/** One in how many, in a few digits. @param {number} p */
	const times = p => {
		const n = 1 / p;
		return n < 10 ? n.toFixed(1) : n < 1e6 ? n.toFixed(0) : n.toExponential(1).replace(/e\+(\d)$/, "e+0$1");
	};

	/** What a row of answers says. @param {boolean[]} right */
	const judge = right => {
		const trials = right.length, correct = right.filter(Boolean).length, stop = hopeless(right);
		const p = tail(correct, trials, 0.5), bound = Math.min(1, p * plan(trials).stages), [low, high] = proportion(correct, trials).map(dPrime);
		const score = `${correct} of ${trials} right`, all = 0.5 ** trials;
		let sentence;
		if (bound <= significance) sentence = `You told them apart: ${score}, which chance does once in ${times(bound)}.`;
		else if (all > significance) sentence = `Too few trials to tell: with ${trials}, even all of them right would be chance once in ${times(all)}. Make ${planned}.`;
		else if (p <= significance) sentence = `Not shown: ${score} would count, had the number of trials been fixed before; but this test went on past its ${planned} trials, and who goes on until it looks good finds something in the end. Make a new test with a number that you choose now.`;
		else if (trials < planned && !stop) sentence = `Not told apart so far: ${score}. Fewer than the planned ${planned} trials miss small differences; make a new test with all of them.`;
		else {
			sentence = `Not told apart: ${score}, which chance does once in ${times(p)}. `;
			if (high < Infinity) sentence += `A difference may be there all the same, but hardly above a d\u2032 of ${high.toFixed(1)}. `;
			sentence += "Stop here: repeating the test until it comes out proves nothing.";
		}
		return { trials, correct, p, bound, d: dPrime(correct / trials), low, high, told: bound <= significance, stop, sentence };
	};
	Object.assign(/** @type {any} */ (globalThis).drywire, { judge });

	const box = byId("trial"), deck = /** @type {any} */ (globalThis).drywire.deck;
	if (box && deck) {
		const parts = ["trial-choose", "trial-run", "trial-result"].map(byId);
		const listen = [...box.querySelectorAll("[data-hear]")], answers = [...box.querySelectorAll("[data-answer]")];
		/** @type {boolean[]} */
		let right = [];
		/** The takes of A and B, from 0. */
		let pair = [0, 1];
		/** Enter is held in the result. */
		let leaving = false;
		/** What X is, in this closure alone. @type {() => number} */
		let hidden = () => 0;
		const running = () => !parts[1].hidden;
		/** @param {string} text */
		const say = text => byId("trial-said").textContent = text;
		/** @param {number} part */
		const show = part => {
			parts.forEach((p, k) => p.hidden = k !== part);
			box.setAttribute("aria-labelledby", ["trial-title", "trial-ask", "result-title"][part]);
		};
		const draw = () => {
			const k = crypto.getRandomValues(new Uint8Array(1))[0] & 1;
			hidden = () => pair[k];
			byId("trial-count").textContent = `Blind test, trial ${right.length + 1}`;
			byId("trial-end").firstElementChild.textContent = right.length === 0 ? "Leave" : right.length === 1 ? "Finish after 1 answer" : `Finish after ${right.length} answers`;
		};
		/** @param {string} which */
		const hear = which => {
			deck.hear(which === "A" ? pair[0] : which === "B" ? pair[1] : hidden());
			for (const b of listen) b.setAttribute("aria-pressed", String(b.dataset.hear === which));
		};
		deck.shown = () => byId("trial-play").firstChild.textContent = deck.on() ? "Stop the sound " : "Play ";

		const begin = async () => {
			pair = [Number(byId("trial-a").value) - 1, Number(byId("trial-b").value) - 1];
			const p = await deck.prepare().catch(() => null);
			if (!p) return say("This browser cannot play the takes.");
			const [a, b] = pair.map(k => p.takes[k]);
			/** @param {number} c */
			const alike = c => {
				const x = a.getChannelData(c), y = b.getChannelData(c);
				return x.every((/** @type {number} */ v, /** @type {number} */ k) => v === y[k]);
			};
			if (a === b || a.numberOfChannels === b.numberOfChannels && alike(0) && alike(a.numberOfChannels - 1)) return say("A and B are the same, so there is nothing to tell apart.");
			say("");
			right = [];
			draw();
			show(1);
			listen[1].focus();
			hear("A");
			if (!deck.on()) await deck.toggle();
			deck.shown();
		};
		/** @param {string} side */
		const answer = side => {
			if (right.length >= most) return;
			right.push(pair[side === "A" ? 0 : 1] === hidden());
			const advice = hopeless(right) ? ` You may stop: within ${plan(hopeless(right)).trials} trials it cannot come out any more that you tell them apart. Going on until it looks better would prove nothing.` : "";
			draw();
			hear("X");
			say(`Answer ${right.length} noted. Trial ${right.length + 1}: a new X.${advice}`);
		};
		const finish = () => {
			deck.hear(null); // what sounds is the take that is shown again: what sounded last would tell what X was
			if (right.length === 0) return box.close();
			const r = judge(right), p = r.p < 0.001 ? "under 0.001" : r.p.toFixed(3);
			byId("result-title").textContent = byId("result-right").textContent = `${r.correct} of ${r.trials}`;
			byId("result-title").textContent += " right";
			byId("result-p").textContent = p;
			byId("result-d").textContent = r.d === Infinity ? "no bound" : r.d.toFixed(2);
			byId("result-sentence").textContent = r.sentence;
			say("");
			show(2);
			byId("result-close").focus();
		};

		byId("test").addEventListener("click", () => {
			const k = deck.chosen();
			say("");
			show(0);
			if (k > 0) byId("trial-a").value = "1", byId("trial-b").value = String(k + 1);
			box.showModal();
			byId("trial-begin").focus();
		});
		byId("trial-begin").addEventListener("click", begin);
		byId("trial-leave").addEventListener("click", () => box.close());
		byId("trial-play").addEventListener("click", () => deck.toggle());
		byId("trial-end").addEventListener("click", finish);
		byId("result-close").addEventListener("click", () => box.close());
		for (const b of listen) b.addEventListener("click", () => hear(b.dataset.hear));
		for (const b of answers) b.addEventListener("click", () => answer(b.dataset.answer));
		box.addEventListener("cancel", (/** @type {Event} */ e) => {
			if (!running()) return;
			e.preventDefault();
			finish();
		});
		box.addEventListener("close", () => {
			leaving = false;
			show(0);
			deck.hear(null);
		});
		box.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
			e.stopPropagation(); // the keys of the page are not those of the test
			if (e.ctrlKey || e.altKey || e.metaKey) return;
			const on = /** @type {HTMLElement} */ (e.target), k = e.key.toUpperCase();
			if (!parts[2].hidden && e.key === "Enter" && !on.matches("button")) leaving = true;
			else if (!running() || !deck.keys.checked) return;
			else if (k === "A" || k === "B" || k === "X") hear(k);
			else if (k === "1" || k === "2") { if (!e.repeat) answer(k === "1" ? "A" : "B"); }
			else if (e.key === " " && !on.matches("button:not([data-hear])")) deck.toggle();
			else return;
			e.preventDefault();
		});
		// at the key's end: else the rest of the press would begin the next test
		box.addEventListener("keyup", (/** @type {KeyboardEvent} */ e) => {
			if (leaving && e.key === "Enter") box.close();
		});
	}
}
