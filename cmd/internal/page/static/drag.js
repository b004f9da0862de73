// @ts-check
// Dragging a block. The block follows the pointer; meanwhile the order is drawn as it would be, so that its place is seen.
import { moved, places, same, without } from "./order.js";

/** @typedef {import("./order.js").Board} Board */
/** @typedef {import("./order.js").Place} Place */
/** @typedef {{at: Element, before: Place | null, after: Place | null, across: boolean}} Target a thing that is drawn, the places before and after it, and whether the signal runs across */
/** @typedef {{block: string, board: Board, root: HTMLElement, held: HTMLElement, targets: (rest: Board) => Target[], slot: () => Element | null, show: (b: Board) => void, done: (b: Board | null) => void}} How */

/** @param {DOMRect} r @param {number} x @param {number} y */
const distance = (r, x, y) => Math.hypot(Math.max(r.left - x, 0, x - r.right), Math.max(r.top - y, 0, y - r.bottom));

/** @param {PointerEvent} e @param {How} how */
export function drag(e, how) {
	const rest = without(how.board, how.block).board, home = without(how.board, how.block).place, legal = places(how.board, how.block);
	const start = how.held.getBoundingClientRect(), dx = e.clientX - start.left, dy = e.clientY - start.top, from = [e.clientX, e.clientY + scrollY];
	let x = e.clientX, y = e.clientY, to = home, frame = 0;
	/** @type {HTMLElement | null} */
	let ghost = null;
	const place = () => {
		const slot = how.slot()?.getBoundingClientRect();
		let best = slot && slot.width ? distance(slot, x, y) : Infinity, found = to;
		if (best === 0) return;
		for (const t of how.targets(rest)) {
			const r = t.at.getBoundingClientRect(), d = distance(r, x, y);
			if (!r.width || d >= best) continue;
			const late = t.across ? x > r.left + r.width / 2 : y > r.top + r.height / 2;
			const p = late ? t.after ?? t.before : t.before ?? t.after;
			if (p && legal.some(l => same(l, p))) best = d, found = p;
		}
		if (same(found, to)) return;
		to = found;
		how.show(moved(how.board, how.block, to));
	};
	/** The page moves at its edges. */
	const follow = () => {
		if (!ghost) return;
		const low = 72, high = document.getElementById("bar")?.getBoundingClientRect().bottom ?? 0;
		const speed = y < high + 24 && scrollY > 0 ? y - high - 24 : y > innerHeight - low ? y - innerHeight + low : 0;
		if (speed && how.held.isConnected) scrollBy({ top: Math.max(-60, speed) / 5, behavior: "instant" });
		place();
		frame = requestAnimationFrame(follow);
	};
	const move = (/** @type {PointerEvent} */ m) => {
		if (m.pointerId !== e.pointerId) return;
		x = m.clientX, y = m.clientY;
		if (!ghost && Math.hypot(x - from[0], y + scrollY - from[1]) > 4) {
			ghost = /** @type {HTMLElement} */ (how.held.cloneNode(true));
			ghost.classList.add("held");
			ghost.setAttribute("aria-hidden", "true");
			ghost.inert = true;
			ghost.style.width = start.width + "px";
			ghost.style.height = start.height + "px";
			document.body.append(ghost);
			document.documentElement.classList.add("dragging");
			how.show(how.board);
			follow();
		}
		if (ghost) ghost.style.transform = `translate(${x - dx}px, ${y - dy}px)`;
		m.preventDefault();
	};
	const end = (/** @type {boolean} */ drop) => {
		removeEventListener("pointermove", move);
		removeEventListener("pointerup", up);
		removeEventListener("pointercancel", cancel);
		document.removeEventListener("keydown", escape, true);
		cancelAnimationFrame(frame);
		if (!ghost) return;
		if (drop) place();
		ghost.remove();
		ghost = null;
		document.documentElement.classList.remove("dragging");
		how.done(drop && !same(to, home) ? moved(how.board, how.block, to) : null);
	};
	const up = (/** @type {PointerEvent} */ m) => {
		if (m.pointerId !== e.pointerId) return;
		x = m.clientX, y = m.clientY;
		end(true);
	};
	const cancel = (/** @type {PointerEvent} */ m) => { if (m.pointerId === e.pointerId) end(false); };
	const escape = (/** @type {KeyboardEvent} */ k) => {
		if (k.key !== "Escape" || !ghost) return;
		k.preventDefault();
		k.stopPropagation();
		end(false);
	};
	how.root.setPointerCapture(e.pointerId);
	addEventListener("pointermove", move);
	addEventListener("pointerup", up);
	addEventListener("pointercancel", cancel);
	document.addEventListener("keydown", escape, true);
}
