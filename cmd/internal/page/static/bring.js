// @ts-check
// A recording of one's own, chosen or dropped onto the page. The other end is bring.go.
import { byId, say } from "./dom.js";
import { bring, Refusal } from "./wire.js";

export class Bring {
	/** @param {{edit: (op: any) => void}} page */
	constructor(page) {
		this.page = page;
		/** @type {File | null} */
		this.file = null;
		this.box = byId("recording-box");
		byId("bring").addEventListener("click", () => this.open(null));
		byId("own-cancel").addEventListener("click", () => this.box.close());
		byId("own").addEventListener("change", () => this.take(byId("own").files[0] ?? null));
		this.box.querySelector("form").addEventListener("submit", (/** @type {Event} */ e) => {
			e.preventDefault();
			this.bring();
		});
		// a file that is dropped would replace the page
		addEventListener("dragover", e => e.preventDefault());
		addEventListener("drop", e => {
			e.preventDefault();
			const file = e.dataTransfer?.files[0];
			if (file && !document.querySelector("dialog[open]:not(#recording-box)")) this.open(file);
		});
	}

	/** @param {File | null} file */
	open(file) {
		say(byId("own-fault"), "");
		this.take(file);
		if (!this.box.open) this.box.showModal();
	}

	/** @param {File | null} file */
	take(file) {
		this.file = file;
		say(byId("own-name"), file ? file.name : "");
		byId("own-go").disabled = !file;
		byId("own").value = "";
	}

	async bring() {
		if (!this.file) return;
		const cable = Number(byId("own-cable").value.replace(",", "."));
		byId("own-go").disabled = true;
		say(byId("own-fault"), "");
		try {
			if (!(cable >= 0.1 && cable <= 30)) throw new Refusal("A cable is 0.1 to 30 m long.", 0, null);
			const { name } = await bring(this.file);
			this.box.close();
			this.page.edit({ do: "recording", brought: { file: name, peak: Number(byId("own-peak").value), input: Number(byId("own-input").value), cable } });
		} catch (e) {
			say(byId("own-fault"), e instanceof Refusal ? e.message : "The program does not answer.");
			byId("own-go").disabled = false;
		}
	}
}
