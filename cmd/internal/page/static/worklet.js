// @ts-check
"use strict";
// What runs beside the sound card. It holds the loop of every sound that the page was sent as one array per channel, and plays the wanted one of
// them. It changes over where both sounds go on without a gap, never earlier; what is not there yet is not played, and not made up.

/** How long one sound takes to give way to another, in seconds. They are the same music at the same place, so the fade is a straight line: equal powers
 * would add up to a bump of 3 dB. */
const fadeSeconds = 0.02;
/** How much of a new sound has to lie ahead before it is played, beyond the fade, when the engine is fast enough: what a busy page may be late by. A sound
 * that has run dry has to show more. */
const marginSeconds = 0.04, dryMarginSeconds = 0.3;
/** How fast a gain moves, in decibels a second: quickly where levels are switched from matched to true, slowly where the loudness of a sound becomes better
 * known while it is computed. */
const quickly = 480, slowly = 20;

/** One sound around its loop: as much of it as has come. */
class Loop {
	/** @param {number} frames @param {number} rate @param {ArrayBuffer[]} memory */
	constructor(frames, rate, memory) {
		this.frames = frames;
		this.rate = rate;
		this.channels = memory.map(m => new Float32Array(m));
		/** What is there, in frames from the beginning of the loop: sorted, apart from one another. @type {[number, number][]} */
		this.runs = [];
		this.speed = 1;
		this.margin = marginSeconds;
	}
	/** Interleaved frames, put where they belong. @param {number} at @param {Float32Array} piece */
	put(at, piece) {
		const n = this.channels.length, count = piece.length / n;
		for (let c = 0; c < n; c++) {
			const to = this.channels[c];
			for (let k = 0, from = c; k < count; k++, from += n) to[at + k] = piece[from];
		}
		const runs = [...this.runs, /** @type {[number, number]} */ ([at, at + count])].sort((a, b) => a[0] - b[0]);
		this.runs = [];
		for (const r of runs) {
			const last = this.runs.at(-1);
			if (last && r[0] <= last[1]) last[1] = Math.max(last[1], r[1]);
			else this.runs.push(r);
		}
	}
	/** How many frames there are from a place on, around the loop; a loop that is there as a whole has no end. @param {number} at */
	ahead(at) {
		const runs = this.runs;
		if (runs.length === 1 && runs[0][0] === 0 && runs[0][1] === this.frames) return Infinity;
		for (let k = 0; k < runs.length; k++) {
			if (at < runs[k][0] || at >= runs[k][1]) continue;
			const here = runs[k][1] - at;
			return runs[k][1] === this.frames && runs[0][0] === 0 ? here + runs[0][1] : here;
		}
		return 0;
	}
	held() { return this.runs.reduce((sum, r) => sum + r[1] - r[0], 0); }
	/** Whether playing may begin here and go on for ever: an engine that makes s frames while one is played is caught up with unless (1-s)/s of what it has
	 * yet to make lies ahead. @param {number} at */
	ready(at) {
		const s = Math.max(0.02, this.speed), missing = this.frames - this.held();
		const need = (fadeSeconds + this.margin) * this.rate + (s < 1.1 ? Math.max(0, 1.1 - s) / s * missing : 0);
		return this.ahead(at) >= Math.min(need, this.frames);
	}
}

/** A sound on its way to the output: which, where, how loud. */
class Voice {
	/** @param {string} key @param {string} layer @param {Loop} loop @param {number} begin of the loop, in the recording @param {number} at within it @param {number} gain */
	constructor(key, layer, loop, begin, at, gain) {
		this.key = key;
		this.layer = layer;
		this.loop = loop;
		this.begin = begin;
		this.at = at;
		this.gain = gain;
	}
}

class Deck extends AudioWorkletProcessor {
	constructor() {
		super();
		/** @type {Map<string, {exact: Loop | null, preview: Loop | null, gain: number, trueGain: number}>} */
		this.sounds = new Map();
		this.begin = 0; // of the loop, in frames of the recording
		this.frames = 0;
		this.wanted = "";
		this.playing = false;
		this.trueLevels = false;
		this.place = 0; // where the music is while nothing sounds, in frames from the beginning of the loop
		/** @type {Voice | null} */
		this.voice = null;
		/** @type {Voice | null} */
		this.next = null; // the sound that is being faded to; null with fading set is silence
		/** What sounded before the fade. @type {Voice | null} */
		this.last = null;
		this.fading = false;
		this.faded = 0;
		this.quick = 0; // frames in which gains move quickly
		/** @type {number | null} */
		this.jump = null; // a place to go to once a running fade is over
		this.moved = false; // the fade to silence goes to another place
		this.since = 0; // frames since the page was told where the music is
		this.told = "";
		this.port.onmessage = e => this.hear(e.data);
	}

	/** @param {any} m */
	hear(m) {
		const sound = this.sounds.get(m.key);
		switch (m.do) {
		case "region":
			this.begin = m.begin;
			this.frames = m.frames;
			this.sounds.clear(); // what sounds goes on sounding until the first sound of the new region can
			this.place = Math.min(Math.max(0, m.place - m.begin), m.frames - 1);
			this.jump = null;
			break;
		case "loop": {
			const s = sound ?? { exact: null, preview: null, gain: 0, trueGain: 0 };
			this.sounds.set(m.key, s);
			if (m.layer === "exact") s.exact = new Loop(m.frames, m.rate, m.memory);
			else s.preview = new Loop(m.frames, m.rate, m.memory);
			break;
		}
		case "piece":
			(m.layer === "exact" ? sound?.exact : sound?.preview)?.put(m.at, m.piece);
			break;
		case "gain":
			if (sound) sound.gain = m.gain, sound.trueGain = m.trueGain;
			break;
		case "speed":
			if (sound?.exact) sound.exact.speed = m.speed;
			if (sound?.preview) sound.preview.speed = m.speed;
			break;
		case "exact-only": // the whole exact sound is there: the preview is in its way no longer
			if (sound) sound.preview = null;
			break;
		case "forget":
			this.sounds.delete(m.key);
			break;
		case "want": this.wanted = m.key; break;
		case "levels":
			this.trueLevels = m.true;
			this.quick = 0.15 * sampleRate;
			break;
		case "play": this.playing = true; break;
		case "stop": this.playing = false; break;
		case "seek":
			this.place = Math.min(Math.max(0, m.place - this.begin), this.frames - 1);
			if (this.voice) this.jump = this.place;
			break;
		}
	}

	/** The gain that a sound is to have. @param {string} key @param {number} otherwise */
	gainOf(key, otherwise) {
		const s = this.sounds.get(key);
		return s ? this.trueLevels ? s.trueGain : s.gain : otherwise;
	}

	/** Which sound could be played from a place on: the exact one, else the preview. @param {number} at @returns {Voice | null} */
	candidate(at) {
		const s = this.sounds.get(this.wanted);
		if (!s) return null;
		const gain = this.trueLevels ? s.trueGain : s.gain;
		if (!gain) return null;
		if (s.exact?.ready(at)) return new Voice(this.wanted, "exact", s.exact, this.begin, at, gain);
		if (s.preview?.ready(at)) return new Voice(this.wanted, "preview", s.preview, this.begin, at, gain);
		return null;
	}

	/** What is played next, decided at the beginning of a call and never within a fade. @param {number} fade in frames */
	decide(fade) {
		const v = this.voice;
		if (!this.playing) {
			if (v) this.leave(null);
			return;
		}
		let at = this.jump ?? (v ? v.at : this.place);
		if (v && this.old(v)) { // the loop itself is another one now: the same place of the music, where it has that
			const there = v.begin + v.at - this.begin;
			at = this.jump ?? (there >= 0 && there < this.frames ? there : this.place);
		}
		const c = this.candidate(at);
		if (!v) {
			if (c) this.leave(c);
			return;
		}
		if (this.old(v)) {
			if (c) this.leave(c), this.jump = null;
			else if (v.loop.ahead(v.at) < fade + 256) this.leave(null);
			return;
		}
		if (this.jump !== null) {
			const stay = v.loop.ahead(at) > 2 * fade ? new Voice(v.key, v.layer, v.loop, v.begin, at, v.gain) : null;
			this.leave(c ?? stay);
			this.moved = !c && !stay; // silence until the place is there: it goes on at that place
			this.jump = null;
			this.place = at;
			return;
		}
		const same = c && c.loop === v.loop;
		const better = c && !same && (c.key !== v.key || c.layer === "exact");
		if (better) this.leave(c);
		else if (v.loop.ahead(v.at) < fade + 256) { // it has run dry
			v.loop.margin = Math.min(4, Math.max(dryMarginSeconds, 2 * v.loop.margin));
			this.leave(c && !same ? c : this.fallback(v, fade));
		}
	}

	/** What sounded before, if that can go on; else silence. @param {Voice} v @param {number} fade @returns {Voice | null} */
	fallback(v, fade) {
		const l = this.last;
		if (!l || l.loop === v.loop || this.old(l) || l.loop.ahead(v.at) < 4 * fade) return null;
		return new Voice(l.key, l.layer, l.loop, l.begin, v.at, l.gain);
	}

	/** Whether a voice sounds of a region that is no longer the one. @param {Voice} v */
	old(v) { return v.begin !== this.begin || v.loop.frames !== this.frames; }

	/** @param {Voice | null} next */
	leave(next) {
		if (this.voice && this.voice.loop !== next?.loop) this.last = this.voice;
		this.next = next;
		this.fading = true;
		this.faded = 0;
	}

	/** @param {Float32Array[][]} _ @param {Float32Array[][]} outputs */
	process(_, outputs) {
		const out = outputs[0], n = out[0].length, fade = Math.round(fadeSeconds * sampleRate);
		if (!this.fading) this.decide(fade);
		if (this.voice || this.fading) {
			const step = 10 ** ((this.quick > 0 ? quickly : slowly) / 20 / sampleRate);
			for (let k = 0; k < n; k++) {
				const w = this.fading ? ++this.faded / fade : 0;
				if (this.voice) this.add(this.voice, 1 - w, out, k, step);
				if (this.fading && this.next) this.add(this.next, w, out, k, step);
				if (this.fading && this.faded >= fade) {
					if (!this.next && this.voice && !this.old(this.voice) && !this.moved) this.place = this.voice.at;
					this.moved = false;
					this.voice = this.next;
					this.next = null;
					this.fading = false;
					if (!this.voice) break;
				}
			}
		}
		this.quick -= n;
		this.tell(n);
		return true;
	}

	/** One frame of a voice. @param {Voice} v @param {number} weight @param {Float32Array[]} out @param {number} k @param {number} step */
	add(v, weight, out, k, step) {
		const to = this.gainOf(v.key, v.gain);
		if (v.gain !== to) v.gain = v.gain < to ? Math.min(to, v.gain * step) : Math.max(to, v.gain / step);
		const g = v.gain * weight, c = v.loop.channels, l = c[0][v.at];
		out[0][k] += g * l;
		if (out[1]) out[1][k] += g * (c.length > 1 ? c[1][v.at] : l);
		if (++v.at >= v.loop.frames) v.at = 0;
	}

	/** The page is told where the music is, 25 times a second and whenever another sound is heard. @param {number} n */
	tell(n) {
		const v = this.next ?? this.voice, what = v ? v.key + v.layer : this.playing ? "wait" : "stop";
		this.since += n;
		if (what === this.told && this.since < sampleRate / 25) return;
		this.since = 0;
		this.told = what;
		this.port.postMessage({
			at: this.begin + (this.jump ?? (v && !this.old(v) ? v.at : this.place)), time: currentTime + n / sampleRate, key: v?.key ?? "", layer: v?.layer ?? "",
			waiting: this.playing && !v, moving: Boolean(v) && this.jump === null && !(v && this.old(v)),
		});
	}
}

registerProcessor("drywire-deck", Deck);
