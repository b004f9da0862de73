// @ts-check
"use strict";
// The meter of what comes out, beside the sound card: the peak and the mean square of either
// channel, and the loudness of the last three seconds. Loudness is ITU-R BS.1770-5, Annex 1,
// short-term as EBU Tech 3341 (2023), clause 2.2, has it; dsp/measure/loudness.go says where the
// figures of its filter come from, and the tests hold one against the other.

const shelfCorner = 1681.974450955533, shelfGain = 3.999843853973347, shelfQ = 0.7071752369554196, shelfSplit = 0.4996667741545416, highCorner = 38.13547087602444, highQ = 0.5003270373238773;
/** Cells of 100 ms, of which 3 s are the last 30: a reading ten times a second, as the standard asks for. */
const cellsPerSecond = 10, shortTerm = 30;
/** How many frames are told of at once: 21 ms at 48 kHz. */
const told = 1024;

/** The K weighting of a channel, transposed direct form II. */
class Weighting {
	/** @param {number} rate */
	constructor(rate) {
		let k = Math.tan(Math.PI * shelfCorner / rate);
		const vh = 10 ** (shelfGain / 20), vb = vh ** shelfSplit;
		let a0 = 1 + k / shelfQ + k * k;
		this.b0 = (vh + vb * k / shelfQ + k * k) / a0, this.b1 = 2 * (k * k - vh) / a0, this.b2 = (vh - vb * k / shelfQ + k * k) / a0;
		this.a1 = 2 * (k * k - 1) / a0, this.a2 = (1 - k / shelfQ + k * k) / a0;
		k = Math.tan(Math.PI * highCorner / rate);
		a0 = 1 + k / highQ + k * k;
		const k48 = Math.tan(Math.PI * highCorner / 48000);
		this.g = (1 + k48 / highQ + k48 * k48) / a0, this.c1 = 2 * (k * k - 1) / a0, this.c2 = (1 - k / highQ + k * k) / a0;
		this.s1 = this.s2 = this.t1 = this.t2 = 0;
	}
	/** The square of the next weighted sample. @param {number} v */
	square(v) {
		const y = this.b0 * v + this.s1;
		this.s1 = this.b1 * v - this.a1 * y + this.s2;
		this.s2 = this.b2 * v - this.a2 * y;
		const gy = this.g * y, z = gy + this.t1;
		this.t1 = this.t2 - 2 * gy - this.c1 * z;
		this.t2 = gy - this.c2 * z;
		return z * z;
	}
}

class Meter extends AudioWorkletProcessor {
	constructor() {
		super();
		this.port.onmessage = () => this.begin();
		this.begin();
	}

	/** From here on it counts: what sounded before is forgotten. */
	begin() {
		this.filters = [new Weighting(sampleRate), new Weighting(sampleRate)];
		/** @type {number[]} mean squares of the last cells, both channels added */
		this.cells = [];
		this.sum = this.n = 0; // of the cell that is being filled
		this.peaks = [0, 0], this.squares = [0, 0], this.frames = 0; // since the page was told
	}

	/** @param {Float32Array[][]} inputs */
	process(inputs) {
		const x = inputs[0], n = x[0]?.length ?? 128, cell = Math.round(sampleRate / cellsPerSecond);
		for (let k = 0; k < n; k++) {
			for (let c = 0; c < 2; c++) {
				const v = (x[c] ?? x[0])?.[k] ?? 0;
				this.peaks[c] = Math.max(this.peaks[c], Math.abs(v));
				this.squares[c] += v * v;
				this.sum += this.filters[c].square(v);
			}
			if (++this.n === cell) {
				this.cells.push(this.sum / cell);
				if (this.cells.length > shortTerm) this.cells.shift();
				this.sum = this.n = 0;
			}
		}
		if ((this.frames += n) >= told) {
			const mean = this.cells.reduce((a, b) => a + b, 0) / shortTerm;
			this.port.postMessage({ peaks: this.peaks, squares: this.squares.map(s => s / this.frames), seconds: this.frames / sampleRate, loudness: this.cells.length === shortTerm ? 10 * Math.log10(mean) - 0.691 : null });
			this.peaks = [0, 0], this.squares = [0, 0], this.frames = 0;
		}
		return true;
	}
}

registerProcessor("drywire-meter", Meter);
