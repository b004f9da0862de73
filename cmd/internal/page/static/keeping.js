// @ts-check
// Saving into the chain file, what to do when somebody else wrote it meanwhile, and files to take away.
import { ask, keep } from "./wire.js";
import { byId, el, say } from "./dom.js";

const kinds = [["wav", "Sound", "WAV of the loop, in 24 bits"], ["report", "Report", "one page with sound and figures"], ["cables", "Cables", "which to move, fewest first"], ["text", "Chain file", "as it is here, saved or not"]];

export class Keeping {
	/** @param {{session: () => string, side: () => string, state: () => any, show: (s: any) => void, notice: (text: string, how?: any) => any, announce: (text: string) => void, fault: (e: any) => void}} page */
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
			this.save({ how, name: how === "take" ? byId("take-name").value.trim() : "", force: false });
		});
		for (const r of this.box.querySelectorAll("input[name=how]")) r.addEventListener("change", () => this.fields());
		byId("conflict-cancel").addEventListener("click", () => this.conflict.close());
		byId("take-theirs").addEventListener("click", () => this.reload());
		byId("keep-mine").addEventListener("click", () => this.save({ ...this.pending, force: true }));
		byId("more").addEventListener("click", () => byId("export-box").showModal());
		this.side = "";
	}

	/** The links follow the side that sounds. */
	show() {
		const side = this.page.side();
		for (const w of document.querySelectorAll(".which")) say(w, side);
		if (side === this.side) return;
		this.side = side;
		const links = () => kinds.map(([what, name, about]) => [el("a", { href: keep(this.page.session(), side, what), download: "", class: "button" }, name), about]);
		byId("downloads").replaceChildren(...links().map(([a, about]) => el("li", {}, a, el("span", { class: "soft" }, about))));
	}

	fields() {
		const take = this.box.querySelector("input[name=how]:checked").value === "take";
		byId("take-field").hidden = !take;
		byId("take-name").required = take;
		if (take && !byId("take-name").value) byId("take-name").value = this.page.state().sides[this.page.side()].take + ", rewired";
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
			this.page.show(r.state);
			this.page.notice(`Saved in ${r.state.file}.${r.kept?.length ? ` What it held before is in ${r.kept.join(" and ")}, until you save again.` : ""}`, { id: "disk", passing: true });
			this.page.announce("Saved.");
		} catch (e) {
			const error = /** @type {any} */ (e);
			if (error.status === 409) {
				this.pending = what;
				this.box.close();
				say(byId("conflict-text"), error.body?.conflict ?? error.message);
				say(byId("theirs"), error.body?.theirs ?? "");
				say(byId("mine"), error.body?.mine ?? "");
				this.conflict.showModal();
			} else if (this.box.open) say(byId("save-fault"), error.message);
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
