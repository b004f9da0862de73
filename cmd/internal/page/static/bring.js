// @ts-check
// A recording of one's own, chosen, dropped onto the page or recorded there. The other end is bring.go.
import { byId, el, num, say } from "./dom.js";
import { bring, Refusal } from "./wire.js";
import { Recorder } from "./record.js";

export class Bring {
	/** @param {{edit: (op: any) => void, quiet: () => void}} page quiet stops what plays */
	constructor(page) {
		this.page = page;
		/** @type {File | null} */
		this.file = null;
		this.box = byId("recording-box");
		this.measured = 0; // the loudest sample of what was recorded here, full scale being 1; 0 for a file
		const recorder = new Recorder({ begin: () => { this.take(null); page.quiet(); }, done: (file, peak) => this.take(file, peak) });
		this.box.addEventListener("close", () => recorder.close());
		byId("own-scale").addEventListener("input", () => this.scale());
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

	/** @param {File | null} file @param {number} [measured] */
	take(file, measured = 0) {
		this.file = file;
		this.measured = measured;
		this.scale();
		say(byId("own-name"), file ? file.name : "");
		byId("own-go").disabled = !file;
		byId("own").value = "";
	}

	/**
	 * What was recorded here has its loudest moment from the input's full scale, where that is known:
	 * a sine that just fits has so many dBu, and √2 times its effective value at its peak.
	 */
	scale() {
		const text = byId("own-scale").value.trim().replace(",", ".").replace("\u2212", "-"), volts = text && this.measured ? this.measured * Math.SQRT2 * Math.sqrt(0.6) * 10 ** (Number(text) / 20) : NaN, select = byId("own-peak");
		select.querySelector(".by-scale")?.remove();
		if (!(volts >= 0.005 && volts <= 20)) return;
		select.append(el("option", { class: "by-scale", value: volts }, volts < 1 ? `as the input says: ${num(1000 * volts, 0, "mV")}` : `as the input says: ${num(volts, 2, "V")}`));
		select.value = String(volts);
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
