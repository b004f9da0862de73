// @ts-check
// Elements, and numbers as people read them.

/** @typedef {string | Node | null | undefined | false} Child */

/** An element. Keys that begin with "on" are listeners; the others are attributes, true meaning a bare one, false and null none. @param {string} name @param {Record<string, any>} [how] @param {...Child} children @returns {any} */
export function el(name, how = {}, ...children) {
	return fill(document.createElement(name), how, children);
}

/** @param {string} name @param {Record<string, any>} [how] @param {...Child} children @returns {any} */
export function svg(name, how = {}, ...children) {
	return fill(document.createElementNS("http://www.w3.org/2000/svg", name), how, children);
}

/** @param {any} e @param {Record<string, any>} how @param {Child[]} children */
function fill(e, how, children) {
	for (const [k, v] of Object.entries(how)) {
		if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
		else if (v === true) e.setAttribute(k, "");
		else if (v !== false && v !== null && v !== undefined) e.setAttribute(k, String(v));
	}
	e.append(...children.filter(c => c !== null && c !== undefined && c !== false && c !== ""));
	return e;
}

/** @param {string} id @returns {any} */
export const byId = id => document.getElementById(id);

/** Text that is only written where it changed, so that screen readers do not begin again. @param {Element} e @param {string} text */
export const say = (e, text) => { if (e.textContent !== text) e.textContent = text; };

/** A number with a true minus sign and no negative nought; an en dash for one that is not known. @param {number | null | undefined} v @param {number} digits @param {string} [unit] */
export function num(v, digits, unit = "") {
	if (v === null || v === undefined || !Number.isFinite(v)) return "\u2013";
	let s = v.toFixed(digits);
	if (Number(s) === 0) s = s.replace("-", "");
	return s.replace("-", "\u2212") + (unit ? "\u00a0" + unit : "");
}

/** A difference, with its sign. @param {number | null | undefined} v @param {number} digits @param {string} [unit] */
export const diff = (v, digits, unit) => (v !== null && v !== undefined && Number(v.toFixed(digits)) > 0 ? "+" : "") + num(v, digits, unit);

/** @param {number} f in hertz */
export const hertz = f => f < 1000 ? num(f, f < 100 ? 1 : 0, "Hz") : num(f / 1000, 2, "kHz");

/** Minutes and seconds. @param {number} seconds */
export function time(seconds) {
	const s = Math.max(0, seconds), m = Math.floor(s / 60);
	return m ? `${m}:${(s - 60 * m).toFixed(1).padStart(4, "0")}` : s.toFixed(1);
}

/** Counts a thing. @param {number} n @param {string} one @param {string} [many] */
export const count = (n, one, many = one + "s") => `${n} ${n === 1 ? one : many}`;
