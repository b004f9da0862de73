// @ts-check
"use strict";
// What comes in, beside the sound card: the first channel of an input, in pieces, each with the time
// of its first frame. It passes nothing on, so that nothing of it is heard.

class Input extends AudioWorkletProcessor {
	/** @param {Float32Array[][]} inputs */
	process(inputs) {
		const x = inputs[0][0];
		if (x) this.port.postMessage({ time: currentTime, samples: x.slice() });
		return true;
	}
}

registerProcessor("drywire-input", Input);
