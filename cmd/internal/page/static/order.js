// @ts-check
// The order on the board as the page draws it, and what becomes of it when a block is moved. Nothing here knows the document.

/** @typedef {{block: string, loops?: {number: number, on: boolean, own: boolean, insert?: boolean, blocks: Item[]}[], split?: {left: Item[], right: Item[], mix: string}}} Item a block, or (with an empty name) a split */
/** @typedef {{main: Item[], tray: Item[]}} Board */
/** @typedef {{list: string, index: number}} Place a list (main, tray, left, right, loop 3) and how many come before, the block itself not counted */

/** The board of a side of the state. @param {any} side @returns {Board} */
export function board(side) {
	/** @param {any[] | null | undefined} stations @returns {Item[]} */
	const items = stations => (stations ?? []).map(s => s.split
		? { block: "", split: { left: items(s.split.left), right: items(s.split.right), mix: s.split.mix } }
		: s.loops ? { block: s.block, loops: s.loops.map((/** @type {any} */ l) => ({ number: l.number, on: l.on, own: l.own, insert: l.insert, blocks: items(l.blocks) })) } : { block: s.block });
	return { main: items(side.lane), tray: items(side.tray) };
}

/** The lists of a board by name, in the order in which they are drawn. @param {Board} b @returns {[string, Item[]][]} */
export function lists(b) {
	/** @type {[string, Item[]][]} */
	const all = [["main", b.main]];
	for (const i of b.main) {
		for (const l of i.loops ?? []) all.push(["loop " + l.number, l.blocks]);
		if (i.split) {
			all.push(["left", i.split.left], ["right", i.split.right]);
			for (const p of [...i.split.left, ...i.split.right]) for (const l of p.loops ?? []) all.push(["loop " + l.number, l.blocks]);
		}
	}
	all.push(["tray", b.tray]);
	return all;
}

/** A board of its own. @param {Board} b @returns {Board} */
const copy = b => structuredClone(b);

/** Takes a block out. @param {Board} b @param {string} name @returns {{board: Board, item: Item, place: Place}} */
export function without(b, name) {
	const c = copy(b);
	for (const [list, items] of lists(c)) {
		const k = items.findIndex(i => i.block === name);
		if (k >= 0) return { board: c, item: items.splice(k, 1)[0], place: { list, index: k } };
	}
	throw new Error("no block " + name);
}

/** Every place that a block could have, from the guitar to the tray, as they are drawn. @param {Board} b @param {string} name @returns {Place[]} */
export function places(b, name) {
	const { board: rest, item } = without(b, name);
	/** @type {Place[]} */
	const all = [];
	/** @param {string} list @param {Item[]} items */
	const walk = (list, items) => {
		for (let k = 0; k <= items.length; k++) {
			if (!items[k - 1]?.split) all.push({ list, index: k }); // nothing comes after a split
			const i = items[k];
			if (item.loops) continue; // a switcher stands in no loop and in no path
			for (const l of i?.loops ?? []) walk("loop " + l.number, l.blocks);
			if (i?.split) {
				walk("left", i.split.left);
				walk("right", i.split.right);
			}
		}
	};
	walk("main", rest.main);
	all.push({ list: "tray", index: rest.tray.length });
	return all;
}

/** The board with a block somewhere else. @param {Board} b @param {string} name @param {Place} to @returns {Board} */
export function moved(b, name, to) {
	const { board: rest, item } = without(b, name);
	for (const [list, items] of lists(rest)) if (list === to.list) items.splice(to.index, 0, item);
	return rest;
}

/** @param {Place} a @param {Place} b */
export const same = (a, b) => a.list === b.list && (a.index === b.index || a.list === "tray");

/** Where a block stands among its places. @param {Board} b @param {string} name */
export function where(b, name) {
	const here = without(b, name).place;
	return places(b, name).findIndex(p => same(p, here));
}

/** The order as the program wants it told. @param {Board} b */
export const entries = b => b.main.map(i => i.split
	? { split: { left: i.split.left.map(told), right: i.split.right.map(told), mix: i.split.mix } }
	: told(i));

/** @param {Item} i */
const told = i => i.loops ? { loops: i.block, in: Object.fromEntries(i.loops.map(l => [String(l.number), l.blocks.map(x => x.block)])) } : i.block;

/** The blocks in line, for a short drawing: those of loops that are in stand where the switcher is. @param {Board} b */
export function line(b) {
	/** @type {{name: string, path: string}[]} */
	const all = [];
	/** @param {Item[]} items @param {string} path */
	const walk = (items, path) => {
		for (const i of items) {
			if (i.split) walk(i.split.left, "left"), walk(i.split.right, "right");
			else all.push({ name: i.block, path });
			for (const l of i.loops ?? []) if (l.on) walk(l.blocks, path);
		}
	};
	walk(b.main, "");
	return all;
}

/** Blocks of a line that do not stand in the longest common order with another line: what was moved, told with the fewest names. @param {string[]} from @param {string[]} to @returns {Set<string>} */
export function strays(from, to) {
	const n = from.length, m = to.length, best = Array.from({ length: n + 1 }, () => new Array(m + 1).fill(0));
	for (let i = n - 1; i >= 0; i--) for (let j = m - 1; j >= 0; j--) best[i][j] = from[i] === to[j] ? 1 + best[i + 1][j + 1] : Math.max(best[i + 1][j], best[i][j + 1]);
	const kept = new Set();
	for (let i = 0, j = 0; i < n && j < m;) {
		if (from[i] === to[j]) kept.add(to[j]), i++, j++;
		else if (best[i + 1][j] > best[i][j + 1]) i++;
		else j++;
	}
	return new Set(to.filter(x => !kept.has(x)));
}

/** A place in words. @param {Board} b @param {string} name */
export function words(b, name) {
	const here = without(b, name).place;
	if (here.list === "tray") return "off the board, in the tray";
	const all = /** @type {Item[]} */ (lists(b).find(([l]) => l === here.list)?.[1]), k = here.index;
	const before = all[k - 1], after = all[k + 1];
	const list = here.list === "main" ? "in the lane" : here.list.startsWith("loop") ? "in " + here.list : "on the " + here.list + " path";
	const after_ = after ? after.split ? "the split" : after.block : "";
	const between = before && after_ ? `between ${before.block} and ${after_}` : before ? `after ${before.block}` : after_ ? `before ${after_}` : "alone";
	return `place ${k + 1} of ${all.filter(i => !i.split).length} ${list}, ${between}`;
}
