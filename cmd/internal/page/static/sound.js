// @ts-check
// The sound of the page: which sounds it holds, which is wanted, and what is still on its way.
import { stream } from "./wire.js";

/** @typedef {{key: string, layer: string, channels: number, rate: number, gain: number, true_gain: number, match_db: number | null, loudness: number | null, speed: number | null, done: boolean}} Meta */
/** @typedef {{key: string, meta: Meta | null, progress: number, speed: number, done: boolean, full: boolean, fault: string, note: string, revision: number}} Order what a side has asked for; full says that the exact sound is held */
/** @typedef {{channels: number, bytes: number, full: boolean, used: number, exact: boolean, preview: boolean}} Held */

/** @typedef {{peaks: number[], squares: number[], seconds: number, loudness: number | null}} Level of both channels since the last one; loudness in LUFS, null before 3 s */

/** How much sound is kept in memory, in bytes: about six loops of a minute in stereo. */
const most = 160e6;
/** Below this volume, in decibels, the page begins; a listener raises it. */
export const quiet = -24;

export class Sound {
	/** @param {string} session */
	constructor(session) {
		this.session = session;
		/** @type {AudioContext | null} */
		this.context = null;
		/** @type {AudioWorkletNode | null} */
		this.deck = null;
		/** @type {GainNode | null} */
		this.volume = null;
		/** @type {GainNode[][] | null} */
		this.crossing = null;
		/** @type {AudioWorkletNode | null} */
		this.meter = null;
		/** @type {AnalyserNode[]} of the channels */
		this.spectra = [];
		this.channels = "both"; // or left or right
		this.jack = ""; // where the chain is heard; "" at its end
		this.level = quiet;
		this.playing = false;
		this.begun = false;
		this.trueLevels = false;
		this.rate = 48000;
		this.region = [0, 1];
		this.side = "A"; // the side that sounds
		this.place = 0; // frames of the recording
		this.placeTime = 0;
		this.moving = false;
		this.waiting = false;
		this.heard = { key: "", layer: "" };
		/** @type {Record<string, Order>} */
		this.orders = { A: fresh(), B: fresh() };
		this.noise = true; // with the hiss and hum of the board, once both sides have theirs
		/** The same with hiss and hum. @type {Record<string, Order>} */
		this.noisy = { A: fresh(), B: fresh() };
		this.filled = -1; // the revision whose hiss and hum are asked for
		/** @type {Map<string, Held>} */
		this.held = new Map();
		this.clock = 0;
		this.revision = 0;
		/** @type {{side: string, noisy: boolean, stop: AbortController} | null} */
		this.work = null;
		/** @type {() => void} */
		this.onchange = () => {};
		/** @type {(m: Level) => void} */
		this.onlevel = () => {};
		/** @type {number | undefined} */
		this.resting = undefined;
	}

	/** Builds what sounds; only a click may do that. */
	async prepare() {
		if (this.deck) return;
		const context = new AudioContext({ sampleRate: this.rate, latencyHint: "interactive" });
		await Promise.all(["worklet.js", "meter.js"].map(m => context.audioWorklet.addModule(m)));
		const deck = new AudioWorkletNode(context, "drywire-deck", { numberOfInputs: 0, outputChannelCount: [2] });
		const volume = new GainNode(context, { gain: 0 });
		const apart = new ChannelSplitterNode(context, { numberOfOutputs: 2 }), together = new ChannelMergerNode(context, { numberOfInputs: 2 });
		this.crossing = [0, 1].map(from => [0, 1].map(to => {
			const g = new GainNode(context, { gain: Number(from === to) });
			apart.connect(g, from).connect(together, 0, to);
			return g;
		}));
		deck.connect(apart);
		together.connect(volume).connect(context.destination);
		const meter = this.meter = new AudioWorkletNode(context, "drywire-meter", { channelCount: 2, channelCountMode: "explicit" });
		meter.port.onmessage = e => { if (this.playing) this.onlevel(e.data); };
		volume.connect(meter).connect(context.destination); // which it sends nothing, but would not run without
		const heard = new ChannelSplitterNode(context, { numberOfOutputs: 2 });
		together.connect(heard);
		this.spectra = [0, 1].map(k => {
			const s = new AnalyserNode(context, { fftSize: 16384, smoothingTimeConstant: 0 });
			heard.connect(s, k);
			return s;
		});
		deck.port.onmessage = e => this.told(e.data);
		this.context = context;
		this.deck = deck;
		this.volume = volume;
		this.tellRegion();
		deck.port.postMessage({ do: "levels", true: this.trueLevels });
	}

	/** @param {any} m */
	told(m) {
		this.place = m.at;
		this.placeTime = m.time;
		this.moving = m.moving;
		const other = m.key !== this.heard.key || m.layer !== this.heard.layer || m.waiting !== this.waiting;
		this.heard = { key: m.key, layer: m.layer };
		this.waiting = m.waiting;
		if (other) this.onchange();
	}

	/** Where the music is that the listener hears now, in frames of the recording. */
	position() {
		const c = this.context, [a, b] = this.region;
		if (!c || !this.moving || b <= a) return this.place;
		const ahead = (c.currentTime - this.placeTime - (c.outputLatency || c.baseLatency || 0)) * c.sampleRate;
		let p = this.place + ahead;
		if (p < a) p = a;
		return a + (p - a) % (b - a);
	}

	async play() {
		await this.prepare();
		const c = /** @type {AudioContext} */ (this.context), v = /** @type {GainNode} */ (this.volume);
		clearTimeout(this.resting);
		await c.resume();
		this.playing = true;
		this.meter?.port.postMessage("begin");
		this.ramp(v, 10 ** (this.level / 20), this.begun ? 0.05 : 1.5); // the first time slowly, for the ears' sake
		this.begun = true;
		this.deck?.port.postMessage({ do: "play" });
		this.want();
		this.onchange();
	}

	stop() {
		this.playing = false;
		this.deck?.port.postMessage({ do: "stop" });
		this.resting = setTimeout(() => { if (!this.playing) this.context?.suspend(); }, 400);
		this.onchange();
	}

	/** @param {GainNode} node @param {number} to @param {number} seconds */
	ramp(node, to, seconds) {
		const t = /** @type {AudioContext} */ (this.context).currentTime, g = node.gain, from = g.value;
		g.cancelScheduledValues(t);
		g.setValueAtTime(from, t);
		g.linearRampToValueAtTime(to, t + seconds);
	}

	/** @param {number} db */
	setVolume(db) {
		this.level = db;
		if (this.volume) this.ramp(this.volume, db <= -60 ? 0 : 10 ** (db / 20), 0.05);
	}

	/** Both channels where they belong, or one of them in both ears. @param {string} how both, left or right */
	setChannels(how) {
		this.channels = how;
		this.crossing?.forEach((row, from) => row.forEach((g, to) => this.ramp(g, Number(how === "both" ? from === to : from === (how === "left" ? 0 : 1)), 0.02)));
	}

	/**
	 * The spectrum of what sounds, as the volts at the jack have it: the level of every third of an
	 * octave around these frequencies, in dBu; null where nothing sounds.
	 * @param {number[]} hz
	 */
	spectrum(hz) {
		const o = (this.hisses() ? this.noisy : this.orders)[this.side], gain = (this.trueLevels ? o.meta?.true_gain : o.meta?.gain) ?? 0;
		if (!this.playing || !this.heard.key || !gain) return null;
		return thirds(this.spectra, hz).map(v => v > 0 ? 20 * Math.log10(v / gain / dBu) : null);
	}

	/** The chain is heard at a jack from now on; "" is its end. @param {string} jack */
	setJack(jack) {
		if (jack === this.jack) return;
		this.jack = jack;
		this.orders = { A: fresh(), B: fresh() };
		this.noisy = { A: fresh(), B: fresh() };
		this.want(true);
		this.onchange();
	}

	/** @param {boolean} on */
	setTrueLevels(on) {
		this.trueLevels = on;
		this.deck?.port.postMessage({ do: "levels", true: on });
		this.onchange();
	}

	/** @param {number} frame of the recording */
	seek(frame) {
		const [a, b] = this.region;
		this.place = Math.min(Math.max(a, Math.round(frame)), b - 1);
		this.moving = false;
		this.deck?.port.postMessage({ do: "seek", place: this.place });
		if (!this.orders[this.side].done) this.want(true); // what is made first is what is played first
		this.onchange();
	}

	/** @param {number[]} region @param {number} rate */
	setRegion(region, rate) {
		this.region = region;
		this.rate = rate;
		this.place = Math.min(Math.max(region[0], this.position()), region[1] - 1);
		this.held.clear();
		this.orders = { A: fresh(), B: fresh() };
		this.noisy = { A: fresh(), B: fresh() };
		this.tellRegion();
		this.want(true);
	}

	tellRegion() {
		this.deck?.port.postMessage({ do: "region", begin: this.region[0], frames: this.region[1] - this.region[0], place: this.place });
	}

	/** The other side is heard from now on, or as soon as it can. @param {string} side */
	hear(side) {
		this.side = side;
		this.want();
		this.onchange();
	}

	/** What the sides are has changed. @param {number} revision */
	changed(revision) {
		if (revision === this.revision) return;
		this.revision = revision;
		this.want();
	}

	/** Whether the loop of a side is there, as it is now. @param {string} side */
	holds(side) {
		const o = this.orders[side];
		return o.revision === this.revision && o.done;
	}

	/** Whether the sides are heard with hiss and hum: both, or neither, so that what is compared differs by the order. */
	hisses() { return this.noise && ["A", "B"].every(s => this.noisy[s].revision === this.revision && this.noisy[s].full); }

	/** @param {boolean} on */
	setNoise(on) {
		this.noise = on;
		this.want();
		this.onchange();
	}

	/** Nothing more urgent is to be made of what there is now: hiss and hum may follow. */
	fill() {
		if (this.filled === this.revision) return;
		this.filled = this.revision;
		this.want();
	}

	/** Sees to it that the side that sounds is played, and that what is missing comes: first that side, then the other. @param {boolean} [anew] */
	want(anew) {
		const { key, revision } = (this.hisses() ? this.noisy : this.orders)[this.side];
		if (key && revision === this.revision && this.held.has(key)) this.wantKey(key);
		if (!this.deck) return;
		const other = this.side === "A" ? "B" : "A";
		const missing = !this.holds(this.side) ? this.side : !this.holds(other) ? other : null;
		const noisy = !missing && this.noise && this.filled === this.revision ? [this.side, other].find(s => this.noisy[s].revision !== this.revision || !this.noisy[s].done) : null;
		const next = missing ?? noisy;
		if (!next && this.work?.noisy) this.drop();
		if (!next) return;
		if (this.work) {
			if (!anew && this.work.noisy === !missing && (noisy || this.work.side === missing) && (missing ? this.orders : this.noisy)[this.work.side].revision === this.revision) return;
			this.drop();
		}
		this.fetch(next, !missing);
	}

	/** What is under way is wanted no more; it is forgotten at once, so that asking for it again is not taken for waiting. */
	drop() {
		this.work?.stop.abort();
		this.work = null;
	}

	/** @param {string} key */
	wantKey(key) {
		const h = this.held.get(key);
		if (h) h.used = ++this.clock;
		this.deck?.port.postMessage({ do: "want", key });
	}

	/** @param {string} side @param {boolean} noisy */
	async fetch(side, noisy) {
		const stop = new AbortController(), work = { side, noisy, stop }, revision = this.revision, [a, b] = this.region, frames = b - a;
		this.work = work;
		const of = noisy ? this.noisy : this.orders, o = of[side] = { ...fresh(), key: "", revision, meta: of[side].meta };
		let full = false; // the exact sound of this key was held before
		const have = [...this.held].filter(([, h]) => h.full).map(([k]) => k);
		const came = { frames: 0, from: 0 };
		const on = {
			/** @param {number} type @param {any} v */
			json: (type, v) => {
				if (stop.signal.aborted) return;
				if (type === 1) {
					o.meta = v;
					if (v.key && v.key !== o.key) {
						o.key = v.key;
						full = this.held.get(v.key)?.full ?? false;
						this.keep(v.key, v.channels, frames);
						if (side === this.side && !noisy) this.wantKey(v.key);
					}
					if (v.gain) this.deck?.port.postMessage({ do: "gain", key: o.key, gain: v.gain, trueGain: v.true_gain || v.gain });
					if (full) o.progress = 1;
				} else {
					o.progress = v.progress ?? o.progress;
					o.note = v.note ?? "";
				}
				if (v.speed) this.fast(o, v.speed, came);
				this.onchange();
			},
			/** @param {boolean} exact @param {number} start @param {Float32Array} samples */
			audio: (exact, start, samples) => {
				if (stop.signal.aborted || full || !o.key || !o.meta) return;
				const n = o.meta.channels, layer = exact ? "exact" : "preview";
				this.memory(o, layer, frames);
				came.from ||= performance.now();
				came.frames += samples.length / n;
				let at = start - a, from = 0, left = samples.length / n;
				while (left > 0 && at >= 0) {
					at %= frames;
					const m = Math.min(left, frames - at), piece = samples.slice(from * n, (from + m) * n);
					this.deck?.port.postMessage({ do: "piece", key: o.key, layer, at, piece }, [piece.buffer]);
					at += m, from += m, left -= m;
				}
			},
		};
		try {
			await stream("render", { session: this.session, side, from: Math.round(this.position()), region: [a, b], jack: this.jack, noise: noisy, have }, on, stop.signal);
			if (stop.signal.aborted) return;
			o.done = true;
			o.progress = 1;
			const h = this.held.get(o.key);
			if (h && (h.exact || full)) {
				h.full = o.full = true;
				this.deck?.port.postMessage({ do: "exact-only", key: o.key });
				if (h.preview && !full) h.preview = false, h.bytes /= 2;
			}
			this.bound();
		} catch (e) {
			if (stop.signal.aborted) return;
			o.fault = String(/** @type {any} */ (e)?.message ?? e);
			o.done = true; // nothing more will come
		} finally {
			if (this.work === work) this.work = null;
		}
		this.onchange();
		this.want();
	}

	/** How fast a sound comes: as the program says, or slower where it arrives so. @param {Order} o @param {number} said @param {{frames: number, from: number}} came */
	fast(o, said, came) {
		const seconds = (performance.now() - came.from) / 1000;
		o.speed = came.from && seconds > 0.5 && !o.progress ? Math.min(said, came.frames / this.rate / seconds) : said;
		this.deck?.port.postMessage({ do: "speed", key: o.key, speed: o.speed });
	}

	/** @param {string} key @param {number} channels @param {number} frames */
	keep(key, channels, frames) {
		if (!this.held.has(key)) this.held.set(key, { channels, bytes: 8 * channels * frames, full: false, used: 0, exact: false, preview: false });
		const h = /** @type {Held} */ (this.held.get(key));
		h.used = ++this.clock;
		this.bound();
	}

	/** Memory for one layer of a sound, once. @param {Order} o @param {"exact" | "preview"} layer @param {number} frames */
	memory(o, layer, frames) {
		const key = o.key, m = /** @type {Meta} */ (o.meta), h = /** @type {Held} */ (this.held.get(key));
		if (h[layer]) return;
		h[layer] = true;
		const memory = Array.from({ length: m.channels }, () => new ArrayBuffer(4 * frames));
		this.deck?.port.postMessage({ do: "loop", key, layer, frames, rate: this.rate, memory }, memory);
		if (m?.gain) this.deck?.port.postMessage({ do: "gain", key, gain: m.gain, trueGain: m.true_gain || m.gain });
		if (m?.speed) this.deck?.port.postMessage({ do: "speed", key, speed: m.speed });
	}

	/** Sounds that were not heard for longest are forgotten where there are too many; never those of the sides, nor what sounds. */
	bound() {
		let sum = 0;
		for (const h of this.held.values()) sum += h.bytes;
		for (const [key, h] of [...this.held].sort((a, b) => a[1].used - b[1].used)) {
			if (sum <= most) return;
			if (key === this.heard.key || [this.orders, this.noisy].some(of => key === of.A.key || key === of.B.key)) continue;
			sum -= h.bytes;
			this.held.delete(key);
			this.deck?.port.postMessage({ do: "forget", key });
		}
	}
}

/** 0 dBu, in volts. */
const dBu = Math.sqrt(0.6);

/** The effective values of thirds of an octave, the mean power of some channels; full scale is 1. A third reaches from 10^-0.05 to 10^0.05 times its middle
 * (IEC 61260-1, base ten). An analyser's lines are divided by their number and have a Blackman window, whose mean square is 0.3046 (Web Audio API, "FFT
 * windowing and smoothing"). @param {AnalyserNode[]} analysers @param {number[]} hz @returns {number[]} */
export function thirds(analysers, hz) {
	const powers = hz.map(() => 0);
	for (const a of analysers) {
		const x = new Float32Array(a.frequencyBinCount), width = a.context.sampleRate / a.fftSize;
		a.getFloatFrequencyData(x);
		hz.forEach((f, k) => {
			for (let i = Math.max(1, Math.ceil(f * 10 ** -0.05 / width)), end = Math.min(x.length, f * 10 ** 0.05 / width); i < end; i++) powers[k] += 2 * 10 ** (x[i] / 10) / 0.3046 / analysers.length;
		});
	}
	return powers.map(Math.sqrt);
}

/** @returns {Order} */
function fresh() {
	return { key: "", meta: null, progress: 0, speed: 0, done: false, full: false, fault: "", note: "", revision: -1 };
}
