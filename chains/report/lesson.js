// @ts-check
"use strict";
{
	/** @param {string} id @returns {any} */
	const byId = id => document.getElementById(id);
	const data = JSON.parse(byId("lesson-data").textContent);
	/**
	 * What was answered: numbers of choices by their question, the take that was chosen, words.
	 * @type {{of: Record<string, number>, heard?: string, saw?: string}}
	 */
	const kept = { of: {} };
	const hear = data.hear;

	// Which of the takes is One is chosen at random, and shown nowhere.
	const flipped = crypto.getRandomValues(new Uint8Array(1))[0] % 2 === 1;
	const order = flipped ? [1, 0] : [0, 1];
	const sounds = [...document.querySelectorAll("script.sound")];
	if (hear && flipped) {
		sounds[0].before(sounds[1]);
		for (const part of [".wave", ".true"]) {
			const [a, b] = document.querySelectorAll(".lane " + part), held = a.innerHTML;
			a.innerHTML = b.innerHTML;
			b.innerHTML = held;
		}
		const player = byId("player-data"), takes = JSON.parse(player.textContent), [a, b] = takes.takes;
		[a.gain, b.gain] = [b.gain, a.gain];
		player.textContent = JSON.stringify(takes);
	}

	const steps = [...document.querySelectorAll(".step")];
	let reached = 0, current = 0;
	const back = byId("back"), on = byId("on"), projector = byId("projector"), root = document.documentElement;
	const beamed = () => root.classList.contains("projector");
	if (hear) byId("true-levels").disabled = true;

	const show = () => {
		steps.forEach((s, k) => {
			/** @type {HTMLElement} */ (s).hidden = k > reached;
			s.classList.toggle("current", k === current);
		});
		back.hidden = !beamed() || current === 0;
		on.hidden = !beamed() || current === steps.length - 1;
	};
	/** @param {number} k @param {boolean} [quiet] */
	const go = (k, quiet) => {
		current = Math.min(Math.max(0, k), steps.length - 1);
		reached = Math.max(reached, current);
		show();
		const head = /** @type {HTMLElement} */ (steps[current].querySelector("h2"));
		if (!quiet) head.focus({ preventScroll: true }), head.scrollIntoView({ block: "start" });
		if (hear && steps[current].contains(byId("which"))) tell();
		write();
	};

	/** The step that asks for an answer. @param {string} name */
	const stepOf = name => steps.findIndex(s => s.querySelector(`form[data-step=${name}]`));

	const tell = () => {
		const one = hear.takes[order[0]], two = hear.takes[order[1]];
		let text = `One was “${one}”, Two was “${two}”. `;
		if (hear.right === "neither") text += kept.heard === undefined ? "There was no difference to hear." : kept.heard === "neither" ? "You heard no difference, and there was none to hear." : "You chose one of them. There was no difference to hear: an ear that expects one hears one.";
		else if (kept.heard === undefined) text += `The answer is “${hear.right}”.`;
		else if (kept.heard === hear.right) text += "That is what you heard.";
		else if (kept.heard === "neither") text += `The answer is “${hear.right}”. You heard no difference: listen once more, now that you know.`;
		else text += `The answer is “${hear.right}”, and you chose the other. Listen once more: one in five observations goes astray.`;
		byId("which").textContent = text;
		document.querySelector(".blind")?.classList.add("told");
		byId("true-levels").disabled = false;
		document.querySelectorAll(".blind .name").forEach((n, k) => n.textContent = `${["One", "Two"][k]}: ${hear.takes[order[k]]}`);
	};

	/** @param {string} step @param {number} choice */
	const mark = (step, choice) => {
		document.querySelectorAll(`#thinks-${step} .yours`).forEach((e, k) => /** @type {HTMLElement} */ (e).hidden = k !== choice);
	};

	/** What was believed, by the number of a choice. @param {string} step @param {number | undefined} k */
	const belief = (step, k) => k === undefined ? "-" : data.questions[step].beliefs[k];

	const write = () => {
		if (!byId("answers")) return;
		const line = (/** @type {string} */ s) => s.replace(/\s+/g, " ").trim();
		byId("answers").value = [
			"drywire answers 1", "lesson: " + data.lesson, "who: " + (line(byId("who").value) || "-"),
			"right: " + belief("before", data.questions.before.right), "before: " + belief("before", kept.of.before),
			"hear: " + hear.right, "heard: " + (kept.heard ?? "-"), "saw: " + (line(kept.saw ?? "") || "-"),
			"after: " + belief("after", kept.of.after), "",
		].join("\n");
	};

	/** What the page that serves this keeps; a file keeps nothing. @param {string} step @param {string} said @param {boolean} right */
	const tellServer = (step, said, right) => {
		if (data.live) fetch("kept", { method: "POST", headers: { "Content-Type": "application/json", "X-Drywire": "1" }, body: JSON.stringify({ step, said, right }) }).catch(() => {});
	};

	for (const form of document.querySelectorAll("form")) {
		const step = /** @type {string} */ (form.dataset.step);
		form.addEventListener("submit", e => {
			e.preventDefault();
			const of = new FormData(form), value = Number(of.get(step));
			if (step === "heard") {
				kept.heard = value === 0 ? "neither" : hear.takes[order[value - 1]];
				kept.saw = String(of.get("saw") ?? "");
				tellServer("heard", kept.heard + (kept.saw ? ": " + kept.saw : ""), kept.heard === hear.right);
			} else {
				kept.of[step] = value;
				mark(step, value);
				tellServer(step, belief(step, value), value === data.questions[step].right);
			}
			for (const input of form.querySelectorAll("input, textarea, button")) /** @type {any} */ (input).disabled = true; // a prediction is kept as it was
			go(stepOf(step) + 1);
			if (!beamed()) reveal(stepOf(step) + 1);
		});
		form.querySelector(".pass")?.addEventListener("click", () => {
			go(stepOf(step) + 1);
			if (!beamed()) reveal(stepOf(step) + 1);
		});
	}

	/** Off the projector, all steps up to the next question are shown at once. @param {number} from */
	const reveal = from => {
		let k = from;
		while (k < steps.length - 1 && !steps[k].querySelector("form")) k++;
		reached = Math.max(reached, k);
		show();
	};

	projector.addEventListener("click", () => {
		projector.setAttribute("aria-pressed", String(root.classList.toggle("projector")));
		show();
		steps[current].querySelector("h2")?.scrollIntoView({ block: "nearest" });
	});
	back.addEventListener("click", () => go(current - 1, true));
	on.addEventListener("click", () => go(current + 1, true));
	byId("paper")?.addEventListener("click", () => print());
	byId("who")?.addEventListener("input", write);
	byId("copy")?.addEventListener("click", async () => {
		const text = byId("answers");
		try {
			await navigator.clipboard.writeText(text.value);
		} catch { // from a file, some browsers have no clipboard
			text.select();
			document.execCommand("copy");
		}
		byId("copied").textContent = "Copied.";
	});
	byId("judge")?.addEventListener("click", async () => {
		const out = byId("judged");
		out.textContent = "Measuring…";
		try {
			const answer = await (await fetch("judge", { method: "POST", headers: { "Content-Type": "application/json", "X-Drywire": "1" }, body: "{}" })).json();
			out.replaceChildren(...(answer.lines ?? [answer.error]).map((/** @type {string} */ l) => Object.assign(document.createElement("p"), { textContent: l })));
		} catch (e) {
			out.textContent = "It could not be measured: " + e;
		}
	});
	document.addEventListener("keydown", e => {
		const at = /** @type {HTMLElement} */ (e.target);
		if (e.ctrlKey || e.altKey || e.metaKey || at.matches("textarea, input[type=text]")) return;
		if (e.key === "p" || e.key === "P") projector.click();
		else if (beamed() && e.key === "PageDown" && !on.hidden) on.click();
		else if (beamed() && e.key === "PageUp" && !back.hidden) back.click();
		else return;
		e.preventDefault();
	});
	show();
	write();
}
