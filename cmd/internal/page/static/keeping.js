// @ts-check
// Saving into the chain file, what to do when somebody else wrote it meanwhile, and files to take away.
import { ask, fetched, keep } from "./wire.js";
import { byId, el, say } from "./dom.js";

const kinds = [["wav", "Sound", "WAV of the whole take, in 24 bits"], ["report", "Report", "one page with sound and figures"], ["cables", "Cables", "which to move, fewest first"], ["text", "Chain file", "as it is here, saved or not"]];

/**
 * Two texts as lines, with those marked that the other does not have: a longest common subsequence, between the equal beginning and end.
 * @param {string} theirs @param {string} mine @returns {[Node[], Node[]]}
 */
function marked(theirs, mine) {
	const a = theirs.split(/(?<=\n)/), b = mine.split(/(?<=\n)/);
	let from = 0, end = 0;
	while (from < Math.min(a.length, b.length) && a[from] === b[from]) from++;
	while (end < Math.min(a.length, b.length) - from && a[a.length - 1 - end] === b[b.length - 1 - end]) end++;
	const n = a.length - end - from, m = b.length - end - from, few = n * m < 4e6;
	/** @type {Uint16Array[]} how long the subsequence of what follows is */
	const long = [];
	for (let i = n; few && i >= 0; i--) {
		long[i] = new Uint16Array(m + 1);
		for (let j = m - 1; i < n && j >= 0; j--) long[i][j] = a[from + i] === b[from + j] ? long[i + 1][j + 1] + 1 : Math.max(long[i + 1][j], long[i][j + 1]);
	}
	const same = (/** @type {string} */ line) => document.createTextNode(line);
	/** @type {Node[]} */ const left = a.slice(0, from).map(same), right = b.slice(0, from).map(same);
	for (let i = 0, j = 0; i < n || j < m;) {
		if (few && i < n && j < m && a[from + i] === b[from + j]) {
			left.push(same(a[from + i++]));
			right.push(same(b[from + j++]));
		} else if (j >= m || i < n && (!few || long[i + 1][j] >= long[i][j + 1])) left.push(el("del", {}, a[from + i++]));
		else right.push(el("ins", {}, b[from + j++]));
	}
	left.push(...a.slice(a.length - end).map(same));
	right.push(...b.slice(b.length - end).map(same));
	return [left, right];
}

export class Keeping {
	/**
	 * @param {{session: () => string, side: () => string, state: () => any, show: (s: any) => void,
	 *   notice: (text: string, how?: any) => any, announce: (text: string) => void,
	 *   fault: (e: any) => void, edit: (op: any) => void}} page
	 */
	constructor(page) {
		this.page = page;
		this.box = byId("save-box");
		this.conflict = byId("conflict-box");
		/** @type {any} */
		this.pending = null;
		byId("save").addEventListener("click", () => this.open());
		byId("save-cancel").addEventListener("click", () => this.box.close());
		this.box.querySelector("form").addEventListener("submit", (/** @type {Event} */ e) => {
			e.preventDefault();
			const how = this.box.querySelector("input[name=how]:checked").value;
			this.save({ how, name: how === "take" ? byId("take-name").value.trim() : how === "copy" ? byId("copy-name").value.trim() : "", force: false });
		});
		for (const r of this.box.querySelectorAll("input[name=how]")) r.addEventListener("change", () => this.fields());
		byId("conflict-cancel").addEventListener("click", () => this.conflict.close());
		byId("take-theirs").addEventListener("click", () => this.reload());
		byId("keep-both").addEventListener("click", () => this.save({ how: "copy", name: this.other(), force: false }));
		byId("history").addEventListener("click", () => this.history());
		byId("keep-mine").addEventListener("click", () => this.save({ ...this.pending, force: true }));
		byId("more").addEventListener("click", () => byId("export-box").showModal());
		this.side = "";
		/** The file that is being made. @type {{what: string, stop: AbortController} | null} */
		this.making = null;
	}

	/** The links follow the side that sounds. */
	show() {
		const side = this.page.side();
		for (const w of document.querySelectorAll(".which")) say(w, side);
		if (side === this.side || this.making) return;
		this.side = side;
		byId("downloads").replaceChildren(...kinds.map(([what, name, about]) => {
			const link = el("a", { href: keep(this.page.session(), side, what), download: "", class: "button" }, name);
			if (what === "wav" || what === "report") link.addEventListener("click", e => {
				e.preventDefault();
				this.make(what, name, link.href);
			});
			return el("li", {}, link, el("span", { class: "soft" }, about));
		}));
	}

	/** Makes a file to take away: it is rendered first, which is seen, and may be called off. @param {string} what @param {string} name @param {string} address */
	async make(what, name, address) {
		if (this.making) return;
		const stop = new AbortController();
		this.making = { what, stop };
		byId("export-cancel").onclick = () => stop.abort();
		say(byId("export-said"), `${name}: waiting for its turn…`);
		byId("export-bar").removeAttribute("value");
		byId("exporting").hidden = false;
		byId("export-bar").hidden = byId("export-cancel").hidden = false;
		try {
			const { name: called, file } = await fetched(address, stop.signal), url = URL.createObjectURL(file);
			el("a", { href: url, download: called }).click();
			setTimeout(() => URL.revokeObjectURL(url), 60000);
			say(byId("export-said"), `${called} is made; the browser keeps it where it keeps downloads.`);
		} catch (e) {
			say(byId("export-said"), stop.signal.aborted ? `${name}: cancelled. No file was made.` : `${name} could not be made: ${/** @type {any} */ (e).message}`);
		}
		this.making = null;
		byId("export-bar").hidden = byId("export-cancel").hidden = true;
		this.side = "";
		this.show();
	}

	/** How far the file is that is being made. @param {{what: string, done: number, total: number}} e */
	exported(e) {
		if (e.what !== this.making?.what || !e.total) return;
		const share = e.done / e.total, bar = byId("export-bar");
		if (share < 1) bar.value = share;
		else bar.removeAttribute("value");
		say(byId("export-said"), share < 1 ? `Rendering, ${Math.floor(100 * share)}\u00a0%` : "Rendered; now measured and written…");
	}

	fields() {
		const how = this.box.querySelector("input[name=how]:checked").value;
		for (const [name, proposal] of [["take", this.page.state().sides[this.page.side()].take + ", rewired"], ["copy", this.other()]]) {
			const used = how === name, field = byId(name + "-name");
			byId(name + "-field").hidden = !used;
			field.required = used;
			if (used && !field.value) field.value = proposal;
		}
	}

	/** A name for another file beside the one that is open. */
	other() {
		const now = new Date(), two = (/** @type {number} */ n) => String(n).padStart(2, "0");
		return `${this.page.state().file.replace(/\.ya?ml$/, "")}-${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}`;
	}

	/** The changes that can be taken back, the last one first. */
	history() {
		/** @type {string[]} */
		const changes = this.page.state().changes;
		byId("changes").replaceChildren(...changes.map((what, k) => {
			const back = () => {
				byId("changes-box").close();
				this.page.edit({ do: "back", number: changes.length - k });
			};
			return el("li", {}, el("span", {}, what), el("button", { type: "button", class: "plain", onclick: back }, "take back from here"));
		}).reverse());
		byId("changes-box").showModal();
	}

	open() {
		say(byId("save-fault"), "");
		this.fields();
		this.box.showModal();
	}

	/** @param {any} what */
	async save(what) {
		byId("save-go").disabled = true;
		try {
			const r = await ask("save", { session: this.page.session(), side: this.page.side(), ...what });
			this.box.close();
			this.conflict.close();
			if (r.copied) {
				this.page.notice(`All of it is in ${r.copied}, beside ${this.page.state().file}. This page goes on with ${this.page.state().file}.`, { id: "copied" });
				this.page.announce("Saved as another file.");
				return;
			}
			this.page.show(r.state);
			this.page.notice(`Saved in ${r.state.file}.${r.kept?.length ? ` What it held before is in ${r.kept.join(" and ")}, until you save again.` : ""}`, { id: "disk", passing: true });
			this.page.announce("Saved.");
		} catch (e) {
			const error = /** @type {any} */ (e);
			if (error.status === 409) {
				this.pending = what;
				this.box.close();
				say(byId("conflict-text"), error.body?.conflict ?? error.message);
				say(byId("conflict-fault"), "");
				const [theirs, mine] = marked(error.body?.theirs ?? "", error.body?.mine ?? "");
				byId("theirs").replaceChildren(...theirs);
				byId("mine").replaceChildren(...mine);
				this.conflict.showModal();
				byId("keep-both").focus();
				this.conflict.querySelector(".gone, .come, del, ins")?.scrollIntoView({ block: "center" });
			} else if (this.box.open) say(byId("save-fault"), error.message);
			else if (this.conflict.open) say(byId("conflict-fault"), error.message);
			else this.page.fault(e);
		} finally {
			byId("save-go").disabled = false;
		}
	}

	/** What windows before this one left unsaved, the newest first. @param {{name: string, when: number, changed: boolean}[]} list */
	drafts(list) {
		for (const d of list.slice(0, 3)) {
			const of = `the unsaved changes of ${new Date(d.when).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}`;
			const offer = () => this.page.notice(`Nothing is lost: ${of} are in ${d.name}.${d.changed ? ` ${this.page.state().file} has changed since, so saving them will show you both.` : ""}`, { id: d.name, actions: [["Go on with them", () => this.draft(d.name, false)], ["Throw them away", sure]] });
			const sure = () => this.page.notice(`Throw away ${of}? They cannot be had back.`, { id: d.name, actions: [["Keep them", offer], ["Throw them away for good", () => this.draft(d.name, true)]] });
			offer();
		}
	}

	/** @param {string} name @param {boolean} drop */
	async draft(name, drop) {
		try {
			const r = await ask("draft", { session: this.page.session(), name, drop });
			this.page.show(r.state);
			this.page.notice(drop ? `${name} is thrown away.` : `The board is as it was left. Undo goes back to the file's own; Save… keeps it.`, { id: name, passing: true });
		} catch (e) {
			this.page.fault(e);
		}
	}

	/** Somebody else wrote the file while there are edits here. */
	changed() {
		this.page.notice(`${this.page.state().file} changed on disk while you edited it here. Nothing is lost: take that one, or keep yours and decide when you save.`, { id: "disk", actions: [["Take the one on disk", () => this.reload()]] });
		this.page.announce("The file changed on disk while you edited it here.");
	}

	async reload() {
		try {
			const s = await ask("reload", { session: this.page.session() });
			this.conflict.close();
			this.page.show(s.state ?? s);
			this.page.notice("The page shows the file as it is on disk.", { id: "disk", passing: true });
		} catch (e) {
			this.conflict.close();
			this.page.fault(e);
		}
	}
}
