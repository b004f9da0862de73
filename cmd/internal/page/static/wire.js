// @ts-check
// Requests to the program and its answers. The other end is package page.

/** A refusal in words for people. */
export class Refusal extends Error {
	/** @param {string} text @param {number} status @param {any} body */
	constructor(text, status, body) {
		super(text);
		this.status = status;
		this.body = body;
	}
}

/** @param {string} what @param {object} body @param {AbortSignal} [signal] */
const send = (what, body, signal) => fetch("api/" + what, {
	method: "POST", headers: { "Content-Type": "application/json", "X-Drywire": "1" }, body: JSON.stringify(body), signal, cache: "no-store",
});

/**
 * Puts a recording beside the chain files; what it is there.
 * @param {File} file
 * @returns {Promise<{name: string, seconds: number, rate: number, channels: number}>}
 */
export async function bring(file) {
	const headers = { "Content-Type": "application/octet-stream", "X-Drywire": "1" };
	return answered(await fetch("api/recording?name=" + encodeURIComponent(file.name), { method: "POST", headers, body: file, cache: "no-store" }));
}

/** The answer to a question. @param {string} what @param {object} body @param {AbortSignal} [signal] @returns {Promise<any>} */
export async function ask(what, body, signal) {
	return answered(await send(what, body, signal));
}

/** @param {Response} r */
async function answered(r) {
	const text = await r.text();
	let value = null;
	try {
		value = text ? JSON.parse(text) : {};
	} catch { /* no JSON: its text is all there is to say */ }
	if (!r.ok || value === null || value.error) throw new Refusal(value?.error ?? value?.conflict ?? (text.trim() || `The program answers ${r.status}.`), r.status, value);
	return value;
}

/**
 * Asks for what comes in messages, a sound or an answer that takes long, and hands them over as they come, in order.
 * @param {string} what
 * @param {object} body
 * @param {{json: (type: number, value: any) => void, audio: (exact: boolean, start: number, samples: Float32Array) => void}} on
 * @param {AbortSignal} signal
 */
export async function stream(what, body, on, signal) {
	const r = await send(what, body, signal);
	if (!r.ok || !r.body) {
		const text = await r.text();
		let value = null;
		try { value = JSON.parse(text); } catch { /* as above */ }
		throw new Refusal(value?.error ?? (text.trim() || `The program answers ${r.status}.`), r.status, value);
	}
	const reader = r.body.getReader();
	/** @type {Uint8Array[]} */
	let chunks = [];
	let have = 0;
	/** The next n bytes, or null where there are not as many yet. @param {number} n */
	const take = n => {
		if (have < n) return null;
		const whole = new Uint8Array(n);
		let at = 0;
		while (at < n) {
			const c = chunks[0], m = Math.min(c.length, n - at);
			whole.set(c.subarray(0, m), at);
			at += m;
			if (m === c.length) chunks.shift();
			else chunks[0] = c.subarray(m);
		}
		have -= n;
		return whole;
	};
	/** @type {{type: number, size: number} | null} */
	let head = null;
	for (;;) {
		const { done, value } = await reader.read();
		if (done) break;
		chunks.push(value);
		have += value.length;
		for (;;) {
			if (!head) {
				const h = take(8);
				if (!h) break;
				const v = new DataView(h.buffer);
				head = { type: v.getUint32(0, true), size: v.getUint32(4, true) };
			}
			const payload = take(head.size);
			if (!payload) break;
			if (head.type === 1 || head.type === 4 || head.type === 5) on.json(head.type, JSON.parse(new TextDecoder().decode(payload)));
			else if (head.type === 2 || head.type === 3) {
				on.audio(head.type === 3, new DataView(payload.buffer).getUint32(0, true), new Float32Array(payload.buffer, 4, (payload.length - 4) >> 2));
			}
			head = null;
		}
	}
	if (head || have) throw new Refusal("The answer broke off.", 0, null);
}

/** @param {string} session @param {{state: (s: any) => void, disk: (d: any) => void, draft: (d: any) => void, export: (e: any) => void, lost: (gone: boolean) => void}} on */
export function listen(session, on) {
	const source = new EventSource("api/events?session=" + encodeURIComponent(session));
	source.addEventListener("state", e => on.state(JSON.parse(e.data)));
	source.addEventListener("disk", e => on.disk(JSON.parse(e.data)));
	source.addEventListener("draft", e => on.draft(JSON.parse(e.data)));
	source.addEventListener("export", e => on.export(JSON.parse(e.data)));
	source.addEventListener("open", () => on.lost(false));
	source.addEventListener("error", () => on.lost(true));
	return source;
}

/**
 * A file to keep, made meanwhile, and what it is to be called.
 * @param {string} address @param {AbortSignal} signal @returns {Promise<{name: string, file: Blob}>}
 */
export async function fetched(address, signal) {
	const r = await fetch(address, { signal, cache: "no-store" });
	if (!r.ok) return answered(r);
	const said = r.headers.get("Content-Disposition") ?? "", coded = /filename\*=utf-8''([^;]*)/i.exec(said), plain = /filename="?([^";]*)/.exec(said);
	return { name: coded ? decodeURIComponent(coded[1]) : plain ? plain[1] : "", file: await r.blob() };
}

/** Where a file to keep comes from. @param {string} session @param {string} side @param {string} what */
export const keep = (session, side, what) => `api/export?session=${encodeURIComponent(session)}&side=${side}&what=${what}`;
