// An old book typed from its scan: the page's image beside the form, each row marked where it stands on it.

import { Book, Path, Value } from "./book";
import { fill, h, put } from "./dom";
import { imageList, photoButtons } from "./photos";
import { say } from "./words";

const ZOOM_STEP = 1.25;
const MARK_DIGITS = 4;

export class ScanLeaf {
  readonly element = h("div", { class: "scan" });
  private readonly view = h("div", { class: "scan-view", tabindex: 0, role: "application", "aria-label": say("scan.label") });
  private readonly holder = h("div", { class: "scan-holder" });
  private readonly image = h("img", { alt: say("scan.image"), draggable: "false" });
  private readonly chooser = h("select", { id: "scan-page" });
  private readonly note = h("p", { class: "hint", role: "status" });
  private readonly other = h("div", {});
  private page = "";
  private turn = 0;
  private zoom = 1;

  constructor(private readonly book: Book) {
    put(this.holder, this.image);
    put(this.view, this.holder);
    const files = imageList(book, "scan-file", say("card.choose"));
    const name = h("input", { id: "scan-name", type: "text", autocomplete: "off", inputmode: "numeric" });
    const put_in = (file: string) => {
      this.page = name.value.trim() || String(1 + Math.max(0, ...Object.keys(book.map(["pages"])).map(Number).filter(Number.isFinite)));
      name.value = "";
      book.set(["pages", this.page], file);
      this.refresh();
    };
    const add = () => { if (files.value) put_in(files.value); };
    put(this.element,
      h("div", { class: "line-bar" },
        h("div", { class: "field" }, h("label", { for: "scan-page" }, say("scan.page")), this.chooser),
        ...this.buttons([["⟲", say("scan.turn_left"), () => this.rotate(-90)], ["⟳", say("scan.turn_right"), () => this.rotate(90)], ["+", say("plan.larger"), () => this.scale(ZOOM_STEP)], ["−", say("plan.smaller"), () => this.scale(1 / ZOOM_STEP)]])),
      h("details", {}, h("summary", {}, say("scan.add")),
        h("div", { class: "line-bar" }, h("div", { class: "field" }, h("label", { for: "scan-name" }, say("scan.number")), name), h("div", { class: "field" }, h("label", { for: "scan-file" }, say("scan.file")), files), h("button", { type: "button", onclick: add }, say("card.add"))),
        photoButtons(book, put_in)),
      this.note, this.view,
      h("div", { class: "row-buttons" }, ...this.buttons([["~", say("scan.doubtful"), () => this.doubt()], ["?", say("scan.either"), () => this.either()]], true)), this.other);
    this.chooser.addEventListener("change", () => { this.page = this.chooser.value; this.refresh(); });
    this.image.addEventListener("load", () => this.place());
    this.image.addEventListener("click", (event) => this.mark(event));
    book.on("chosen", () => this.marks());
    new ResizeObserver(() => this.place()).observe(this.view);
  }

  private buttons(list: [string, string, () => void][], words = false): HTMLElement[] {
    return list.map(([sign, label, does]) => h("button", { type: "button", "aria-label": words ? null : label, onclick: does }, words ? `${sign} ${label}` : sign));
  }

  /** Return the row that is being typed. */
  private get row(): Path | null {
    const [section, line, key, number] = this.book.chosen;
    return section === "lines" && key === "details" && typeof number === "number" ? [section, line, key, number] : null;
  }

  refresh(): void {
    const pages = this.book.map(["pages"]);
    const names = Object.keys(pages);
    if (!names.includes(this.page)) this.page = names[0] ?? "";
    const shown = [...this.chooser.options].map((each) => each.value).join("|");
    if (shown !== names.join("|")) fill(this.chooser, ...names.map((name) => h("option", { value: name }, name)));
    this.chooser.value = this.page;
    const file = pages[this.page];
    const url = typeof file === "string" ? `/scan/${file.split("/").map(encodeURIComponent).join("/")}` : "";
    if (this.image.getAttribute("src") !== url) { if (url) this.image.src = url; else this.image.removeAttribute("src"); }
    this.view.hidden = !url;
    this.note.textContent = !url ? say("scan.none") : this.row ? say("scan.tap", { number: Number(this.row[3]) + 1 }) : say("scan.first");
    this.marks();
  }

  private rotate(by: number): void {
    this.turn = (this.turn + by + 360) % 360;
    this.place();
  }

  private scale(by: number): void {
    this.zoom = Math.min(8, Math.max(0.5, this.zoom * by));
    this.place();
  }

  private place(): void {
    const turned = this.turn % 180 !== 0;
    const { naturalWidth: width, naturalHeight: height } = this.image;
    if (!width) return;
    const fit = (this.view.clientWidth / (turned ? height : width)) * this.zoom;
    const [w, t] = [width * fit, height * fit];
    Object.assign(this.holder.style, { width: `${w}px`, height: `${t}px`, transformOrigin: "0 0" });
    const shift: Record<number, string> = { 0: "", 90: `translate(${t}px, 0)`, 180: `translate(${w}px, ${t}px)`, 270: `translate(0, ${w}px)` };
    this.holder.style.transform = `${shift[this.turn]} rotate(${this.turn}deg)`;
  }

  /** Keep where the row stands on the page, as shares of the image's width and height. */
  private mark(event: MouseEvent): void {
    const row = this.row;
    if (!row) { this.note.textContent = say("scan.first"); return; }
    const share = (value: number, whole: number) => Math.min(1, Math.max(0, value / whole)).toFixed(MARK_DIGITS);
    const spot = [share(event.offsetX, this.image.clientWidth), share(event.offsetY, this.image.clientHeight)];
    this.book.set([...row, "page"], this.page); // first: a mark without its page says nothing
    this.book.set([...row, "mark_at"], spot);
    this.marks();
  }

  /** Show a mark for every row of this page, the one being typed strongest. */
  private marks(): void {
    for (const each of this.holder.querySelectorAll("button")) each.remove();
    for (const [line, value] of Object.entries(this.book.map(["lines"]))) {
      const rows = (value as { details?: Value[] })?.details;
      if (!Array.isArray(rows)) continue;
      rows.forEach((each: any, number) => {
        if (each?.page !== this.page || !Array.isArray(each.mark_at)) return;
        const path: Path = ["lines", line, "details", number];
        const dot = h("button", { type: "button", class: "scan-mark", "aria-label": say("scan.row", { line, number: number + 1 }), onclick: () => this.book.choose(path) });
        dot.classList.toggle("current", JSON.stringify(path) === JSON.stringify(this.row));
        Object.assign(dot.style, { insetInlineStart: "auto", left: `${100 * Number(each.mark_at[0])}%`, top: `${100 * Number(each.mark_at[1])}%` });
        put(this.holder, dot);
      });
    }
    if (this.row && !this.view.hidden) this.note.textContent = say("scan.tap", { number: Number(this.row[3]) + 1 });
  }

  /** Return the path of the reading that is being typed. */
  private get reading(): Path | null {
    const row = this.row;
    if (!row) return null;
    const values = this.book.map(row);
    const key = [this.book.typing, "left", "right", "at"].find((each) => typeof values[each] === "string");
    return key ? [...row, key] : null;
  }

  private doubt(): void {
    const path = this.reading;
    const value = path && this.book.at(path);
    if (path && typeof value === "string") this.book.set(path, value.startsWith("~") ? value.slice(1) : `~${value}`);
  }

  /** A digit could be another: both readings are kept, and the survey chooses. */
  private either(): void {
    const path = this.reading;
    const value = path && this.book.at(path);
    if (!path || typeof value !== "string") return;
    const input = h("input", { id: "scan-other", type: "text", inputmode: "decimal", autocomplete: "off" });
    const go = () => {
      if (input.value.trim()) this.book.set(path, { either: [value.replace("~", ""), input.value.trim()] });
      fill(this.other);
    };
    input.addEventListener("keydown", (event) => { if (event.key === "Enter") go(); else if (event.key === "Escape") fill(this.other); });
    fill(this.other, h("div", { class: "field" }, h("label", { for: input.id }, say("scan.other", { value })), input, h("div", { class: "tools" }, h("button", { type: "button", onclick: go }, say("card.add")))));
    input.focus();
  }
}
