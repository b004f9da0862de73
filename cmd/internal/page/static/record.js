// @ts-check
// Records the guitar from an input of this machine, as a file that is brought like any other: one
// channel, nothing of it heard, and nothing done to it by the browser, or it is refused.
import { byId, el, num, say } from "./dom.js";

/** What browsers do to a voice, by the names of the Media Capture specification, and in words. */
const meddling = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "automatic gain" };
/** The longest recording, in seconds. */
const longest = 600;
const counts = 4;

export class Recorder {
	/**
	 * begin is called before an input is opened, done with the recording and its loudest sample, full
	 * scale being 1.
	 * @param {{begin: () => void, done: (file: File, peak: number) => void}} page
	 */
	constructor(page) {
		this.page = page;
		/** @type {MediaStream | null} */
		this.stream = null;
		/** @type {AudioContext | null} */
		this.context = null;
		/** @type {Float32Array[] | null} */
		this.pieces = null; // while it records
		this.from = Infinity; // the time of the first frame that counts, in seconds of the context
		this.peak = 0;
		this.shown = -90; // what the meter shows, in dB
		byId("record").addEventListener("click", () => this.open(""));
		byId("record-input").addEventListener("change", () => this.open(byId("record-input").value));
		byId("record-go").addEventListener("click", () => this.pieces ? this.stop() : this.start());
	}

	/** Opens an input; "" is the one that the browser proposes. @param {string} id */
	async open(id) {
		this.close();
		this.page.begin();
		say(byId("record-fault"), "");
		try {
			if (!navigator.mediaDevices) throw new Error("This browser cannot record: bring a file.");
			const plain = Object.fromEntries(Object.keys(meddling).map(k => [k, false]));
			const stream = this.stream = await navigator.mediaDevices.getUserMedia({ audio: { ...plain, channelCount: 1, ...(id ? { deviceId: { exact: id } } : {}) } });
			const track = stream.getAudioTracks()[0], set = /** @type {any} */ (track.getSettings()), still = Object.entries(meddling).filter(([k]) => set[k]).map(([, words]) => words);
			await this.list(set.deviceId);
			if (still.length) throw new Error(`This browser keeps ${still.join(" and ")} on for this input. That changes how your picking and the notes' ends sound, so nothing is recorded: choose another input, or bring a file.`);
			track.addEventListener("ended", () => { if (this.stream === stream) this.close(), say(byId("record-fault"), "The input has gone."); });
			const context = this.context = new AudioContext();
			await context.audioWorklet.addModule("input.js");
			const input = new AudioWorkletNode(context, "drywire-input", { channelCount: set.channelCount > 1 ? set.channelCount : 1 });
			input.port.onmessage = e => this.take(e.data);
			context.createMediaStreamSource(stream).connect(input).connect(context.destination); // silence
			byId("record-go").disabled = false;
			this.tell("Strum: the bar follows, and you hear nothing of it here.");
			byId("record-go").focus();
		} catch (e) {
			const { name, message } = /** @type {Error} */ (e);
			this.close();
			byId("recorder").hidden = false;
			say(byId("record-fault"), { NotAllowedError: "The browser does not let this page hear an input. Allow it beside the address, and try again.", NotFoundError: "There is no input on this machine.", NotReadableError: "Another program holds this input." }[name] ?? message);
		}
	}

	/** Shows the inputs there are, whose names are known once one is open. @param {string} id of the one that is open */
	async list(id) {
		const all = (await navigator.mediaDevices.enumerateDevices()).filter(d => d.kind === "audioinput"), select = byId("record-input");
		select.replaceChildren(...all.map((d, k) => el("option", { value: d.deviceId }, d.label || `input ${k + 1}`)));
		select.value = id;
		byId("recorder").hidden = false;
	}

	/** @param {string} text */
	tell(text) { say(byId("record-said"), text); }

	async start() {
		const c = this.context;
		if (!c) return;
		const beat = 60 / Number(byId("record-tempo").value || 100), count = byId("record-tempo").value ? counts : 0;
		this.pieces = [];
		this.peak = 0;
		this.from = c.currentTime + 0.1 + count * beat;
		say(byId("record-go"), "Stop");
		const mine = this.pieces;
		for (let k = count; k > 0; k--) {
			this.tell(`${counts - k + 1}…`);
			await new Promise(r => setTimeout(r, Math.max(0, 1000 * (this.from - (k - 1) * beat - c.currentTime))));
			if (this.pieces !== mine) return;
		}
		this.tell("Recording.");
	}

	/** @param {{time: number, samples: Float32Array}} m */
	take(m) {
		const c = /** @type {AudioContext} */ (this.context), loudest = m.samples.reduce((a, v) => Math.max(a, Math.abs(v)), 0);
		if (!c) return;
		this.shown = Math.max(20 * Math.log10(loudest), this.shown - 12 * m.samples.length / c.sampleRate, -90);
		const box = byId("record-meter");
		box.style.setProperty("--rms", String(Math.max(0, (this.shown + 60) / 60)));
		box.classList.toggle("over", loudest >= 0.999);
		say(byId("record-level"), num(this.shown, 0, "dB"));
		if (!this.pieces || m.time < this.from) return;
		this.pieces.push(m.samples);
		this.peak = Math.max(this.peak, loudest);
		const seconds = m.time - this.from;
		if (Math.floor(seconds) !== Math.floor(seconds - m.samples.length / c.sampleRate)) this.tell(`Recording, ${Math.floor(seconds)}\u00a0s.`);
		if (seconds > longest) this.stop();
	}

	/** Ends the recording and hands it over. */
	stop() {
		const pieces = this.pieces ?? [], rate = this.context?.sampleRate ?? 48000, peak = this.peak;
		this.pieces = null;
		this.from = Infinity;
		say(byId("record-go"), "Record again");
		if (!pieces.length || peak < 1e-4) {
			this.tell(pieces.length ? "Nothing came in: is the cable in this input, and its gain up?" : "Stopped before it began.");
			return;
		}
		const file = new File([wav(pieces, rate)], `recording-${stamp(new Date())}.wav`, { type: "audio/wav" });
		this.tell(peak >= 0.999 ? "It clipped: turn the input's gain down, and record again." : `Its loudest moment is ${num(-20 * Math.log10(peak), 1, "dB")} under full scale.`);
		this.page.done(file, peak);
	}

	/** Lets the input go. */
	close() {
		this.pieces = null;
		this.from = Infinity;
		this.stream?.getTracks().forEach(t => t.stop());
		this.context?.close();
		this.stream = this.context = null;
		this.tell("");
		say(byId("record-go"), "Record");
		byId("record-go").disabled = true;
		byId("recorder").hidden = true;
	}
}

/** A moment as a part of a file's name. @param {Date} t */
const stamp = t => {
	const two = (/** @type {number} */ v) => String(v).padStart(2, "0");
	return `${t.getFullYear()}${two(t.getMonth() + 1)}${two(t.getDate())}-${two(t.getHours())}${two(t.getMinutes())}${two(t.getSeconds())}`;
};

/** Samples as a WAV file of 24 bits and one channel (RIFF, WAVE_FORMAT_PCM). @param {Float32Array[]} pieces @param {number} rate in hertz */
export function wav(pieces, rate) {
	const n = pieces.reduce((a, p) => a + p.length, 0), bytes = new Uint8Array(44 + 3 * n + n % 2), v = new DataView(bytes.buffer);
	const text = (/** @type {number} */ at, /** @type {string} */ s) => [...s].forEach((c, k) => v.setUint8(at + k, c.charCodeAt(0)));
	text(0, "RIFF"), v.setUint32(4, bytes.length - 8, true), text(8, "WAVEfmt "), v.setUint32(16, 16, true);
	v.setUint16(20, 1, true), v.setUint16(22, 1, true), v.setUint32(24, rate, true), v.setUint32(28, 3 * rate, true), v.setUint16(32, 3, true), v.setUint16(34, 24, true);
	text(36, "data"), v.setUint32(40, 3 * n, true);
	let at = 44;
	for (const p of pieces) for (const x of p) {
		const s = Math.max(-0x800000, Math.min(0x7fffff, Math.round(x * 0x800000)));
		v.setUint16(at, s & 0xffff, true), v.setInt8(at + 2, s >> 16), at += 3;
	}
	return bytes;
}
