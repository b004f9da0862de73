// @ts-check
// What comes out of the page, behind the volume: a bar for each channel that differs, the peak, the
// loudness of the last three seconds, and whether it went over.
import { byId, el, num, say } from "./dom.js";

/** How long it says that something was over, in milliseconds. */
const overFor = 3000;

export class Levels {
	/** @param {import("./sound.js").Sound} sound */
	constructor(sound) {
		this.sound = sound;
		this.box = byId("out-meter");
		this.bars = [...this.box.querySelectorAll(".vu")];
		this.power = [0, 0];
		this.peaks = [-90, -90];
		this.over = -Infinity;
		sound.onlevel = m => this.take(m);
	}

	/** What is heard has two channels, or one. @param {boolean} stereo */
	show(stereo) {
		const box = byId("channels");
		box.hidden = !stereo;
		this.box.classList.toggle("stereo", stereo);
		if (stereo && !box.children.length) box.append(...[["both", "L+R"], ["left", "L"], ["right", "R"]].map(([how, text]) => el("button", { type: "button", "data-how": how, title: how === "both" ? "Both channels" : `The ${how} one alone`, onclick: () => this.alone(how) }, text)));
		this.alone(stereo ? this.sound.channels : "both");
		this.box.hidden = false;
		byId("volume-hint").classList.add("above");
	}

	/** Nothing sounds. */
	rest() {
		this.power = [0, 0], this.peaks = [-90, -90], this.over = -Infinity;
		this.take({ peaks: [0, 0], squares: [0, 0], seconds: 0, loudness: null });
	}

	/** @param {string} how both, left or right */
	alone(how) {
		if (how !== this.sound.channels) this.sound.setChannels(how);
		for (const b of byId("channels").children) b.setAttribute("aria-pressed", String(b.dataset.how === how));
	}

	/** @param {import("./sound.js").Level} m */
	take(m) {
		m.squares.forEach((s, c) => {
			this.power[c] += (s - this.power[c]) * (1 - Math.exp(-m.seconds / 0.4));
			this.peaks[c] = Math.max(20 * Math.log10(m.peaks[c]), this.peaks[c] - 12 * m.seconds, -90);
			const bar = this.bars[c];
			bar.style.setProperty("--rms", String(along(10 * Math.log10(this.power[c]))));
			bar.style.setProperty("--peak", String(along(this.peaks[c])));
		});
		if (Math.max(...m.peaks) >= 1) this.over = performance.now();
		const over = performance.now() - this.over < overFor;
		this.box.classList.toggle("over", over);
		say(byId("out-text"), over ? "over" : Math.max(...this.peaks) > -90 ? "peak " + num(Math.max(...this.peaks), 0, "dB") : "");
		say(byId("out-loudness"), m.loudness === null || m.loudness < -90 ? "" : num(m.loudness, 0, "LUFS"));
	}
}

/** The place of a level in a bar that begins at −60 dB. @param {number} db */
const along = db => Math.min(1, Math.max(0, (db + 60) / 60)) || 0;
