// @ts-check
"use strict";
{
	/** How long one take takes to give way to another, in seconds. The takes are the same music, so the fade is linear: equal powers would add up to a bump of 3 dB. */
	const fade = 0.01;
	/** A ramp begins a little after now, so that no part of it is over before the sound card renders it. */
	const soon = 0.01;

	/** A gain that moves along straight lines, and knows at any time where it is: not every browser can hold a ramp that is under way. */
	class Ramp {
		/** @param {BaseAudioContext} context @param {number} value */
		constructor(context, value) {
			this.node = new GainNode(context, { gain: value });
			this.from = this.to = value;
			this.begin = this.end = 0;
		}
		/** @param {number} t */
		at(t) {
			if (t >= this.end) return this.to;
			if (t <= this.begin) return this.from;
			return this.from + (this.to - this.from) * (t - this.begin) / (this.end - this.begin);
		}
		/** @param {number} value @param {number} t @param {number} seconds */
		go(value, t, seconds) {
			const from = this.at(t), g = this.node.gain;
			g.cancelScheduledValues(t);
			g.setValueAtTime(from, t);
			g.linearRampToValueAtTime(value, t + seconds);
			this.from = from; this.to = value; this.begin = t; this.end = t + seconds;
		}
	}

	/** Plays all takes at once, in a loop and in step; the gains of all but one are zero. */
	class Player {
		/** @param {BaseAudioContext} context @param {AudioBuffer[]} takes @param {number[]} trueGains */
		constructor(context, takes, trueGains) {
			this.context = context;
			this.takes = takes;
			this.trueGains = trueGains;
			this.duration = takes[0].duration;
			this.chosen = 0;
			this.trueLevels = false;
			this.loop = true;
			this.region = [0, this.duration]; // of the loop, seconds
			/** What the seam of the loop has taken the place of. @type {{buffer: AudioBuffer, channel: number, at: number, samples: Float32Array}[]} */
			this.under = [];
			this.offset = 0; // of the music, when it was last started or stopped
			this.started = 0;
			/** @type {{sources: AudioBufferSourceNode[], gains: Ramp[], all: Ramp} | null} */
			this.deck = null;
			this.volume = new Ramp(context, 0.1);
			this.volume.node.connect(context.destination);
			/** @type {() => void} */
			this.onend = () => {};
		}
		/** @param {number} k */
		level(k) { return k !== this.chosen ? 0 : this.trueLevels ? this.trueGains[k] : 1; }
		now() { return this.context.currentTime + (this.context instanceof AudioContext ? soon : 0); }
		position() {
			if (!this.deck) return this.offset;
			const p = this.offset + Math.max(0, this.context.currentTime - this.started);
			const [a, b] = this.region;
			if (!this.loop) return Math.min(p, this.duration);
			return p < b ? p : a + (p - a) % (b - a);
		}
		/** @param {number} seconds of fading in */
		play(seconds = 0.05) {
			if (this.deck) return;
			if (this.loop && this.offset >= this.region[1]) this.offset = this.region[0];
			const t = this.now(), all = new Ramp(this.context, 0);
			all.node.connect(this.volume.node);
			const gains = this.takes.map((_, k) => new Ramp(this.context, this.level(k)));
			const sources = this.takes.map((buffer, k) => {
				const s = new AudioBufferSourceNode(this.context, { buffer, loop: this.loop, loopStart: this.region[0], loopEnd: this.region[1] });
				s.connect(gains[k].node).connect(all.node);
				s.start(t, this.offset);
				return s;
			});
			all.go(1, t, seconds);
			this.started = t;
			const deck = this.deck = { sources, gains, all };
			sources[0].onended = () => {
				if (this.deck !== deck) return;
				this.deck = null;
				this.offset = 0;
				this.onend();
			};
		}
		stop() {
			if (!this.deck) return;
			this.offset = this.position();
			const t = this.now(), { sources, all } = this.deck;
			this.deck = null;
			all.go(0, t, fade);
			for (const s of sources) s.stop(t + 2 * fade);
		}
		/** @param {number} seconds */
		seek(seconds) {
			const playing = this.deck !== null;
			this.stop();
			this.offset = Math.min(Math.max(0, seconds), Math.max(0, this.duration - 0.01));
			if (playing) this.play(fade);
		}
		/** @param {number} k */
		choose(k) {
			this.chosen = k;
			this.mix();
		}
		/** @param {boolean} on */
		setTrueLevels(on) {
			this.trueLevels = on;
			this.mix();
		}
		mix() {
			const t = this.now();
			this.deck?.gains.forEach((g, n) => g.go(this.level(n), t, fade));
		}
		/** @param {boolean} on */
		setLoop(on) {
			const at = this.position();
			this.loop = on;
			this.seam();
			this.seek(at);
		}
		/** The stretch that plays round, from a to b in seconds. @param {number} a @param {number} b */
		setRegion(a, b) {
			const at = this.position();
			this.region = [a, b];
			this.seam();
			this.seek(this.loop && (at < a || at >= b) ? a : at);
		}
		/**
		 * Nothing steps where the loop begins again: its end gives way over a fade to what goes before its beginning. What was there is kept,
		 * for another loop.
		 */
		seam() {
			for (const u of this.under) u.buffer.copyToChannel(u.samples, u.channel, u.at);
			this.under = [];
			const [a, b] = this.region;
			if (!this.loop || b >= this.duration && a <= 0) return;
			const rate = this.takes[0].sampleRate, n = Math.round(fade * rate), from = Math.round(a * rate), at = Math.round(b * rate) - n;
			if (at < 0) return;
			for (const buffer of this.takes) for (let channel = 0; channel < buffer.numberOfChannels; channel++) {
				const x = buffer.getChannelData(channel), samples = x.slice(at, at + n), mixed = samples.slice();
				for (let k = 0; k < samples.length; k++) mixed[k] += (k + 1) / n * ((x[from - n + k] ?? 0) - mixed[k]);
				this.under.push({ buffer, channel, at, samples });
				buffer.copyToChannel(mixed, channel, at);
			}
		}
		/** @param {number} db */
		setVolume(db) { this.volume.go(10 ** (db / 20), this.now(), 0.05); }
	}

	/** For trying these parts from the console. @type {{Player: typeof Player, decode: any, player: Player | null, deck: any}} */
	const drywire = { Player, decode: null, player: null, deck: null };

	/** @param {string} id @returns {any} */
	const byId = id => document.getElementById(id);
	/** @param {number} v @param {number} digits */
	const text = (v, digits) => {
		const s = v.toFixed(digits);
		return (Number(s) === 0 ? s.replace("-", "") : s).replace("-", "\u2212");
	};

	/** What make gives at the sounds' rate; at another where the browser knows no such rate. @type {<T>(rate: number, make: (rate?: number) => T, other?: number) => T} */
	const atRate = (rate, make, other) => {
		try {
			return make(rate);
		} catch {
			return make(other);
		}
	};

	/** The sounds of the page. @param {number} rate */
	const decode = rate => {
		const context = atRate(rate, r => new OfflineAudioContext(1, 1, r), 48000);
		return Promise.all([...document.querySelectorAll("script.sound")].map(e => {
			const raw = atob(/** @type {string} */ (e.textContent)), bytes = new Uint8Array(raw.length);
			for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
			return context.decodeAudioData(bytes.buffer);
		}));
	};

	drywire.decode = decode;

	const setUpPlayer = () => {
		const data = JSON.parse(byId("player-data").textContent);
		const box = byId("player"), play = byId("play"), clock = byId("clock"), position = byId("position"), volume = byId("volume"), state = byId("state");
		const picks = [...document.querySelectorAll(".pick")], whole = byId("whole"), from = byId("loop-from"), to = byId("loop-to"), track = byId("track");
		const loop = byId("loop"), trueLevels = byId("true-levels"), keys = byId("keys");
		const buttons = [...box.querySelectorAll(".choose")], waves = [...box.querySelectorAll(".wave")];
		/** @type {Player | null} */
		let player = null;
		let chosen = 0, begun = false, at = 0;
		/** What sounds in a blind test, whatever is shown as chosen. @type {number | null} */
		let blind = null;

		const heads = waves.map(w => {
			const head = document.createElement("div");
			head.className = "head";
			w.append(head);
			return head;
		});
		const least = Math.min(0.1, data.seconds);
		/** @type {number[]} */
		let region = data.loop;
		/** Shades what is outside the loop, and tells where its ends are. @param {number[]} [r] */
		const showRegion = (r = region) => {
			const [a, b] = r.map(s => 100 * s / data.seconds);
			for (const w of waves) w.style.setProperty("--from", a + "%"), w.style.setProperty("--to", b + "%");
			box.classList.toggle("looped", loop.checked && (r[0] > 0 || r[1] < data.seconds));
			if (!track) return;
			track.style.setProperty("--from", a + "%");
			track.style.setProperty("--to", b + "%");
			track.classList.toggle("round", loop.checked);
			[from, to].forEach((e, k) => {
				e.setAttribute("aria-valuenow", r[k].toFixed(2));
				e.setAttribute("aria-valuetext", text(r[k], 1) + " seconds");
			});
			whole.disabled = r[0] <= 0 && r[1] >= data.seconds;
		};
		/** @param {number} a @param {number} b */
		const ordered = (a, b) => {
			a = Math.min(Math.max(0, a), data.seconds - least);
			return [a, Math.min(Math.max(a + least, b), data.seconds)];
		};
		/** @param {number} a @param {number} b */
		const setRegion = (a, b) => {
			region = ordered(a, b);
			if (!loop.checked) loop.click();
			if (!player?.deck && (at < region[0] || at >= region[1])) at = region[0];
			player?.setRegion(region[0], region[1]);
			showRegion();
			show();
		};
		const show = () => {
			at = player ? player.position() : at;
			clock.textContent = text(at, 1);
			if (document.activeElement !== position || player?.deck) position.value = at;
			position.setAttribute("aria-valuetext", text(at, 1) + " seconds");
			for (const h of heads) h.style.left = `calc(${100 * at / data.seconds}% - 1px)`;
		};
		const run = () => {
			show();
			if (player?.deck) requestAnimationFrame(run);
		};
		const shown = () => {
			const on = player?.deck != null;
			play.classList.toggle("playing", on);
			play.lastElementChild.textContent = on ? "Stop" : "Play";
			drywire.deck?.shown();
			if (on) run();
		};
		const named = () => {
			const now = byId("now");
			if (now) now.textContent = data.takes[chosen].name + (trueLevels.checked ? ", true level" : "");
		};
		/** @param {number} k */
		const choose = k => {
			if (k < 0 || k >= buttons.length) return;
			chosen = k;
			player?.choose(k);
			for (const list of [buttons, picks]) list.forEach((b, n) => b.setAttribute("aria-pressed", String(n === k)));
			picks[k]?.scrollIntoView?.({ block: "nearest", inline: "nearest" });
			named();
			state.textContent = `Take ${k + 1}, ${data.takes[k].name}`;
		};
		/** @type {Promise<Player> | null} */
		let preparing = null;
		const prepare = () => preparing ??= (async () => {
			play.lastElementChild.textContent = "Wait…";
			const takes = await decode(data.rate);
			const context = atRate(data.rate, sampleRate => new AudioContext({ sampleRate }));
			const p = new Player(context, takes, data.takes.map((/** @type {{gain: number}} */ t) => t.gain));
			p.volume.node.gain.value = p.volume.to = p.volume.from = 10 ** (volume.value / 20);
			p.loop = loop.checked;
			p.setRegion(region[0], region[1]);
			p.trueLevels = trueLevels.checked;
			p.onend = () => { shown(); show(); };
			return player = drywire.player = p;
		})();
		const toggle = async () => {
			try {
				const p = await prepare();
				await /** @type {AudioContext} */ (p.context).resume();
				if (p.deck) p.stop();
				else {
					p.choose(blind ?? chosen);
					p.offset = at;
					p.play(begun ? 0.05 : 1.5); // the first time slowly, for the ears' sake
					begun = true;
				}
				shown();
			} catch (e) {
				preparing = null;
				state.classList.remove("unseen");
				state.textContent = "This browser cannot play the takes: " + e;
				play.lastElementChild.textContent = "Play";
			}
		};
		/** @param {number} seconds */
		const seek = seconds => {
			at = Math.min(Math.max(0, seconds), data.seconds);
			if (loop.checked && at >= region[1]) at = region[0];
			player?.seek(at);
			show();
		};

		play.addEventListener("click", toggle);
		buttons.forEach((b, k) => b.addEventListener("click", () => choose(k)));
		picks.forEach((b, k) => b.addEventListener("click", () => choose(k)));
		/** A click goes to a place, a drag marks the loop or moves one end of it. @param {HTMLElement} area @param {PointerEvent} e @param {number} end @param {() => void} before */
		const drag = (area, e, end, before) => {
			if (e.button !== 0) return;
			const r = area.getBoundingClientRect(), x = e.clientX, kept = region;
			const second = (/** @type {number} */ x) => data.seconds * Math.min(1, Math.max(0, (x - r.left) / r.width));
			let moved = false, last = kept;
			before();
			area.setPointerCapture(e.pointerId);
			const move = (/** @type {PointerEvent} */ m) => {
				if (!moved && Math.abs(m.clientX - x) < 5) return;
				moved = true;
				const at = second(m.clientX);
				last = end === 0 ? ordered(Math.min(at, kept[1] - least), kept[1]) : end === 1 ? ordered(kept[0], at) : ordered(Math.min(second(x), at), Math.max(second(x), at));
				showRegion(last);
			};
			const done = (/** @type {PointerEvent} */ m) => {
				for (const kind of ["pointermove", "pointerup", "pointercancel"]) area.removeEventListener(kind, /** @type {any} */ (kind === "pointermove" ? move : done));
				if (moved && m.type === "pointerup") setRegion(last[0], last[1]);
				else if (m.type === "pointercancel") showRegion();
				else if (end < 0) seek(second(x));
			};
			area.addEventListener("pointermove", move);
			area.addEventListener("pointerup", done);
			area.addEventListener("pointercancel", done);
		};
		waves.forEach((w, k) => w.addEventListener("pointerdown", (/** @type {PointerEvent} */ e) => drag(w, e, -1, () => choose(k))));
		[from, to].forEach((edge, k) => {
			edge?.addEventListener("pointerdown", (/** @type {PointerEvent} */ e) => drag(track, e, k, () => edge.focus()));
			edge?.addEventListener("keydown", (/** @type {KeyboardEvent} */ e) => {
				if (e.ctrlKey || e.altKey || e.metaKey) return;
				/** @type {Record<string, number>} */
				const steps = { ArrowLeft: -0.1, ArrowDown: -0.1, ArrowRight: 0.1, ArrowUp: 0.1, PageDown: -1, PageUp: 1, Home: -data.seconds, End: data.seconds };
				if (!(e.key in steps)) return;
				const d = steps[e.key] * (e.shiftKey ? 5 : 1);
				if (k === 0) setRegion(Math.min(region[0] + d, region[1] - least), region[1]);
				else setRegion(region[0], region[1] + d);
				e.preventDefault();
				e.stopPropagation();
			});
		});
		whole?.addEventListener("click", () => setRegion(0, data.seconds));
		position.addEventListener("input", () => seek(Number(position.value)));
		volume.addEventListener("input", () => {
			player?.setVolume(Number(volume.value));
			const words = text(Number(volume.value), 0);
			byId("volume-text").textContent = words + "\u00a0dB";
			volume.setAttribute("aria-valuetext", words + " decibels");
		});
		loop.addEventListener("change", () => {
			player?.setLoop(loop.checked);
			showRegion();
		});
		trueLevels.addEventListener("change", () => {
			player?.setTrueLevels(trueLevels.checked);
			document.documentElement.classList.toggle("leveled", trueLevels.checked);
			named();
		});
		document.addEventListener("keydown", e => {
			if (!keys.checked || e.ctrlKey || e.altKey || e.metaKey) return;
			const on = /** @type {HTMLElement} */ (e.target), typing = on.matches("input, select, textarea, [contenteditable]");
			if (on.matches("textarea, input[type=text], input[type=radio]")) return;
			const digit = e.key >= "1" && e.key <= "9" ? Number(e.key) : 0;
			if (digit) choose(digit - 1);
			else if (e.key === " " && !on.matches("input[type=checkbox], button:not(.choose[aria-pressed=true]), summary, a")) toggle();
			else if (e.key === "l" || e.key === "L") loop.click();
			else if (e.key === "[") setRegion(at, at < region[1] - least ? region[1] : data.seconds);
			else if (e.key === "]") setRegion(at > region[0] + least ? region[0] : 0, at);
			else if (e.key === "t" || e.key === "T") trueLevels.click();
			else if (typing && on.matches("[type=range]") || on.matches("pre, .scroll")) return;
			else if (e.key === "ArrowLeft" || e.key === "ArrowRight") seek(at + (e.key === "ArrowLeft" ? -1 : 1) * (e.shiftKey ? 5 : 1));
			else if (e.key === "ArrowUp" && on.closest(".player")) choose(chosen - 1);
			else if (e.key === "ArrowDown" && on.closest(".player")) choose(chosen + 1);
			else return;
			e.preventDefault();
		});
		/** What the blind test plays with: it shows nothing of what it plays. */
		drywire.deck = {
			prepare, toggle, keys, data,
			chosen: () => chosen,
			on: () => player?.deck != null,
			/** A take, at one loudness; null for the chosen one, as it is shown. @param {number | null} k */
			hear: k => {
				blind = k;
				player?.setTrueLevels(k === null && trueLevels.checked);
				player?.choose(k ?? chosen);
			},
			/** Is told of play and stop. */
			shown: () => {},
		};
		choose(0);
		showRegion();
		state.textContent = "";
		show();
	};

	/** @param {HTMLElement} figure */
	const setUpPlot = figure => {
		const id = /** @type {string} */ (figure.dataset.plot), data = JSON.parse(byId(id + "-data").textContent);
		const slider = byId(id + "-at"), hz = figure.querySelector(".hz"), values = [...figure.querySelectorAll(".value")];
		const drawings = [...figure.querySelectorAll("svg[data-left]")];
		/** @param {number} k */
		const show = k => {
			const f = data.hz[k], name = f < 1000 ? text(f, f < 100 ? 1 : 0) + "\u00a0Hz" : text(f / 1000, 2) + "\u00a0kHz";
			if (hz) hz.textContent = name;
			values.forEach((v, n) => v.textContent = data.takes[n][k] === null ? "\u2013" : text(data.takes[n][k], 1) + "\u00a0dB");
			slider.setAttribute("aria-valuetext", name);
			for (const d of drawings) {
				const left = Number(d.dataset.left), right = Number(d.dataset.right), x = left + (right - left) * Math.log(f / 20) / Math.log(1000);
				const line = d.querySelector(".reader");
				line?.setAttribute("x1", String(x));
				line?.setAttribute("x2", String(x));
			}
		};
		/** @param {PointerEvent} e */
		const point = e => {
			const d = drawings.find(d => d.getBoundingClientRect().width > 0);
			if (!d) return;
			const r = d.getBoundingClientRect(), left = Number(d.dataset.left), right = Number(d.dataset.right);
			const x = (e.clientX - r.left) / r.width * d.viewBox.baseVal.width, f = 20 * 1000 ** ((x - left) / (right - left));
			let best = 0;
			data.hz.forEach((/** @type {number} */ v, /** @type {number} */ k) => { if (Math.abs(Math.log(v / f)) < Math.abs(Math.log(data.hz[best] / f))) best = k; });
			slider.value = best;
			show(best);
		};
		figure.querySelector(".drawing")?.addEventListener("pointermove", e => point(/** @type {PointerEvent} */ (e)));
		figure.querySelector(".drawing")?.addEventListener("pointerdown", e => point(/** @type {PointerEvent} */ (e)));
		slider.addEventListener("input", () => show(Number(slider.value)));
		show(Number(slider.value));
	};

	const root = document.documentElement, bar = byId("bar"), large = byId("large");
	root.classList.add("live");
	// What is scrolled to, and what the tabulator reaches, is below the bar.
	if (bar) new ResizeObserver(() => root.style.setProperty("--bar", bar.offsetHeight + "px")).observe(bar);
	large?.addEventListener("click", () => large.setAttribute("aria-pressed", String(root.classList.toggle("large"))));
	if (byId("player-data")) setUpPlayer();
	document.querySelectorAll("[data-plot]").forEach(f => setUpPlot(/** @type {HTMLElement} */ (f)));
	Object.assign(globalThis, { drywire });
}
