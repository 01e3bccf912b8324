// One chain line as it is booked on paper: the chain up the middle, filling from the foot, and the row in big fields.

import { Book, Path, Value } from "./book";
import { BETWEEN, adder, editor, field, keepInStep, listText, spokenOf, valueOf } from "./card";
import { fill, h, keep, put, same } from "./dom";
import { Schema, at, under } from "./schema";
import { say, sayKey } from "./words";

type Row = { [key: string]: Value };
const SIDES = ["left", "", "right"] as const;
/** Keys that the big fields hold; the others stand under 'more'. */
const BIG = ["at", "left", "right", "point", "station", "feature", "kind"];

export class RowsLeaf {
  readonly element = h("div", { class: "rows" });
  private readonly strip = h("ol", { class: "strip", role: "list" });
  private readonly form = h("form", { class: "row-form", autocomplete: "off" });
  private readonly chooser = h("select", { id: "line" });
  private readonly head = h("div", { class: "line-head" });
  private readonly more = h("div", { class: "more" });
  private readonly names = h("datalist", { id: "names" });
  private readonly fresh = h("div", { class: "fresh" });
  private readonly status = h("p", { class: "fault", id: "row-fault", role: "status" });
  private readonly at = this.input("at", true);
  private readonly offset = this.input("offset", true);
  private readonly name = this.input("name", false);
  private readonly kind = h("select", { id: "row-kind" });
  private readonly what = h("select", { id: "row-what" });
  private readonly sides = SIDES.map((side) => h("input", { type: "radio", name: "side", value: side, id: `side-${side || "on"}` }));
  private readonly extras: HTMLElement;
  private refreshHead = () => {};
  private refreshMore = () => {};
  line = "";
  /** The row that the fields show; one past the last while a new one is begun. */
  number = 0;

  constructor(private readonly book: Book) {
    this.build();
    this.extras = this.element.querySelector<HTMLElement>(".extras")!;
    book.on("chosen", () => this.follow());
    this.chooser.addEventListener("change", () => this.chooser.value && this.show(this.chooser.value));
    this.refreshHead = keepInStep(book, this.head, () => this.headFields(), () => ({ [`${this.line} ${this.rows.length > 0}`]: { ...book.map(["lines", this.line]), details: "" } }));
    this.refreshMore = keepInStep(book, this.more, () => this.moreFields(), () => ({ [`${this.line} ${this.number}`]: book.at(this.path) ?? null }));
  }

  private get rows(): Value[] {
    return this.book.list(["lines", this.line, "details"]);
  }

  private get path(): Path {
    return ["lines", this.line, "details", this.number];
  }

  private get row(): Row {
    return this.book.map(this.path);
  }

  private input(name: string, figures: boolean): HTMLInputElement {
    const input = h("input", { id: `row-${name}`, type: "text", autocomplete: "off", autocapitalize: "off", spellcheck: "false", "aria-describedby": "row-fault" });
    // Where there is no keyboard, our own keypad has the signs that a field book needs.
    if (figures) input.inputMode = matchMedia("(pointer: coarse)").matches ? "none" : "decimal";
    return input;
  }

  // -- what it looks like -----------------------------------------------------------------------

  private build(): void {
    this.name.setAttribute("list", "names");
    for (const [word, key] of [["feature", "row.what_feature"], ["point", "row.what_point"], ["kind", "row.what_kind"], ["station", "row.what_station"]] as const) put(this.what, h("option", { value: word }, say(key)));
    put(this.kind, h("option", { value: "" }, ""), ...Object.entries(this.book.start.kinds).filter(([, geometry]) => String(geometry).includes("point")).map(([kind]) => h("option", { value: kind }, kind)));
    const sides = h("fieldset", { class: "sides" }, h("legend", {}, say("row.side")), ...this.sides.flatMap((radio, i) => [h("span", { class: "side" }, radio, h("label", { for: radio.id }, [say("row.left"), say("row.on"), say("row.right")][i]))]));
    const big = (input: HTMLElement, label: string, name: string) => h("div", { class: `field big ${name}` }, h("label", { for: input.id }, label), input);
    put(this.form,
      h("h3", { id: "row-title", class: "row-title" }),
      sides, big(this.at, sayKey("at"), "at"), big(this.offset, say("row.offset"), "offset"),
      big(this.what, say("row.what"), "what"), big(this.name, say("row.name"), "name"), big(this.kind, sayKey("kind"), "kind"),
      this.status,
      h("div", { class: "row-buttons" },
        h("button", { type: "submit", class: "main" }, say("row.next")),
        h("button", { type: "button", onclick: () => this.takeBack() }, say("row.take_back")),
        h("button", { type: "button", class: "quiet", "aria-expanded": "false", onclick: (event: MouseEvent) => this.toggleMore(event) }, say("row.more"))),
      this.keypad(), h("div", { class: "extras", hidden: true }, this.more), this.names);
    this.form.setAttribute("aria-labelledby", "row-title");
    this.form.addEventListener("submit", (event) => { event.preventDefault(); this.next(); });
    for (const input of [this.at, this.offset, this.name]) {
      input.addEventListener("input", () => this.typed());
      input.addEventListener("keydown", (event) => this.enter(event, input));
      input.addEventListener("focus", () => { this.focused = input; this.book.typing = input === this.at ? "at" : input === this.offset ? this.side() : ""; this.book.choose(this.path); this.bringForm(); });
    }
    for (const radio of this.sides) radio.addEventListener("change", () => { this.typed(); this.showFields(); });
    for (const select of [this.what, this.kind]) select.addEventListener("change", () => { this.typed(); this.showFields(); });
    const add = h("input", { id: "new-line", type: "text", autocomplete: "off", placeholder: "A-B" });
    const go = () => { const name = add.value.trim(); if (/^[^-]+-[^-]+$/.test(name)) { this.newLine(name); add.value = ""; } };
    add.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); go(); } });
    put(this.element,
      h("div", { class: "line-bar" }, h("div", { class: "field" }, h("label", { for: "line" }, say("row.line")), this.chooser),
        h("div", { class: "field" }, h("label", { for: "new-line" }, say("row.new_line")), add), h("button", { type: "button", onclick: go }, say("row.add_line"))),
      this.head, this.strip, this.fresh, this.form);
    this.form.addEventListener("focusout", () => setTimeout(() => { this.refreshStrip(); this.showWrong(); this.askKind(); }));
  }

  private focused: HTMLInputElement = this.at;

  /** Digits for a thumb; the fields themselves take any keyboard. */
  private keypad(): HTMLElement {
    const keys = ["7", "8", "9", "⌫", "←", "4", "5", "6", "-", "→", "1", "2", "3", "~", "ft", "0", ".", BETWEEN, "↵", "in"];
    const says: Record<string, string> = { "⌫": say("pad.delete"), [BETWEEN]: say("pad.second"), "~": say("pad.doubtful"), "←": say("pad.left"), "→": say("pad.right"), "-": say("pad.minus"), ".": say("pad.point"), "↵": say("pad.next") };
    return h("div", { class: "keypad", role: "group", "aria-label": say("pad.name") }, ...keys.map((key) =>
      h("button", { type: "button", tabindex: -1, "aria-label": says[key] ?? key, onpointerdown: (event: PointerEvent) => { event.preventDefault(); this.press(key); } }, key)));
  }

  private press(key: string): void {
    if (key === "←" || key === "→") {
      this.sides[key === "←" ? 0 : 2].checked = true;
      this.typed();
      this.showFields();
      this.offset.focus();
      return;
    }
    if (key === "↵") {
      this.onward(this.focused);
      return;
    }
    const input = this.focused;
    const [start, end] = [input.selectionStart ?? input.value.length, input.selectionEnd ?? input.value.length];
    const cut = key === "⌫" && start === end ? Math.max(0, start - 1) : start;
    const text = key === "⌫" ? "" : key === "ft" || key === "in" ? ` ${key} ` : key === BETWEEN ? "; " : key === "~" && start ? "~" : key;
    input.setRangeText(text, cut, end, "end");
    input.focus();
    input.dispatchEvent(new Event("input"));
  }

  /** On a narrow screen: let fields and keypad be seen together. */
  private bringForm(): void {
    if (matchMedia("(max-width: 759px)").matches) requestAnimationFrame(() => this.form.scrollIntoView({ block: "nearest" }));
  }

  // -- what it does -----------------------------------------------------------------------------

  show(line: string, number?: number): void {
    this.line = line;
    this.number = number ?? this.rows.length;
    this.refresh();
    this.fillFields();
    const shown = this.strip.children[Math.min(this.number, this.rows.length - 1)];
    shown?.scrollIntoView({ block: "nearest" });
  }

  private newLine(name: string): void {
    const first = Object.keys(this.book.map(["lines"])).length === 0;
    if (this.book.at(["lines", name]) === undefined) this.book.set(["lines", name], { use: first ? "base" : "side" });
    this.line = name;
    this.number = 0;
    this.refresh();
    this.fillFields();
    this.at.focus();
  }

  /** Follow what was chosen elsewhere: a tap on the plan, a line of the text, a suspect. */
  private follow(): void {
    const [section, line, key, number] = this.book.chosen;
    if (section !== "lines" || typeof line !== "string" || this.form.contains(document.activeElement)) return;
    this.show(line, key === "details" && typeof number === "number" ? number : undefined);
    this.strip.querySelector(".current")?.scrollIntoView({ block: "nearest" });
  }

  private side(): "left" | "right" | "" {
    return (this.sides.find((radio) => radio.checked)?.value ?? "left") as "left" | "right" | "";
  }

  /** Put what the fields say into the book, key by key. */
  private typed(): void {
    if (!this.line) return;
    const schema = at(["lines", "A-B", "details", 0]);
    if (this.number >= this.rows.length) {
      if (!this.at.value.trim()) return;
      this.number = this.book.append(["lines", this.line, "details"], { at: valueOf(this.at.value, under(schema, "at"), undefined) });
    }
    const wanted = this.wanted(schema);
    const row = this.row;
    for (const key of BIG) {
      if (key in wanted) this.book.set([...this.path, key], wanted[key], true);
      else if (key in row) { this.book.remove([...this.path, key]); delete row[key]; }
    }
    this.refreshStrip();
    this.refreshMore();
  }

  private wanted(schema: Schema | undefined): Row {
    const wanted: Row = { at: valueOf(this.at.value, under(schema, "at"), this.row.at) };
    const side = this.side();
    const what = this.what.value;
    if (side && what !== "station" && this.offset.value.trim()) wanted[side] = valueOf(this.offset.value, under(schema, side), this.row[side]);
    const name = this.name.value.trim();
    if (what === "kind") {
      if (this.kind.value) wanted.kind = this.kind.value;
      if (name) wanted.point = name;
    } else if (name) wanted[what] = name;
    if (what === "feature" && this.row.point !== undefined) wanted.point = this.row.point;
    return wanted;
  }

  private enter(event: KeyboardEvent, input: HTMLInputElement): void {
    if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      if (input === this.name) return; // its own list
      event.preventDefault();
      this.show(this.line, Math.max(0, Math.min(this.rows.length, this.number + (event.key === "ArrowUp" ? 1 : -1))));
    } else if (event.key === "Enter") {
      event.preventDefault();
      this.onward(input);
    }
  }

  /** Go to the next field, and from the last one to the next row. */
  private onward(input: HTMLInputElement): void {
    if (input === this.name) this.next();
    else if (input === this.at && this.offsetShown()) this.offset.focus();
    else this.name.focus();
  }

  private offsetShown(): boolean {
    return this.side() !== "" && this.what.value !== "station";
  }

  private next(): void {
    this.number = this.rows.length;
    this.fillFields();
    this.refresh();
    this.strip.lastElementChild?.scrollIntoView({ block: "nearest" });
    this.at.focus();
  }

  private takeBack(): void {
    if (this.number < this.rows.length) this.book.remove(this.path);
    else if (this.rows.length) this.book.remove(["lines", this.line, "details", this.rows.length - 1]);
    this.at.focus();
  }

  private toggleMore(event: MouseEvent): void {
    const button = event.currentTarget as HTMLElement;
    const open = this.extras.hidden;
    this.extras.hidden = !open;
    button.setAttribute("aria-expanded", String(open));
  }

  private fillFields(): void {
    const row = this.row;
    const begun = this.number < this.rows.length;
    const side = row.left !== undefined ? "left" : row.right !== undefined ? "right" : begun ? "" : this.side();
    this.at.value = listText(row.at);
    for (const radio of this.sides) radio.checked = radio.value === side;
    this.offset.value = listText(row[side || "left"]);
    if (begun) this.what.value = row.station !== undefined ? "station" : row.kind !== undefined ? "kind" : row.feature !== undefined ? "feature" : "point";
    this.kind.value = listText(row.kind);
    this.name.value = listText(row[this.what.value === "kind" ? "point" : this.what.value]) || (begun && row.feature !== undefined ? listText(row.feature) : "");
    this.showFields();
  }

  private showFields(): void {
    const station = this.what.value === "station";
    this.form.classList.toggle("no-offset", !this.offsetShown());
    this.offset.disabled = !this.offsetShown();
    for (const radio of this.sides) radio.disabled = station;
    this.kind.disabled = this.what.value !== "kind";
    this.form.classList.toggle("no-kind", this.kind.disabled);
  }

  // -- in step ----------------------------------------------------------------------------------

  refresh(): void {
    const lines = Object.keys(this.book.map(["lines"]));
    if (!this.line && lines.length) { this.line = lines[0]; this.number = this.rows.length; }
    if (this.line && !lines.includes(this.line) && this.book.at(["lines"]) !== undefined && lines.length) this.line = lines[0];
    const shown = [...this.chooser.options].map((option) => option.value);
    if (!same(shown, lines)) fill(this.chooser, ...lines.map((name) => h("option", { value: name }, `${name}`)));
    this.chooser.value = this.line;
    this.form.hidden = !this.line;
    if (this.number > this.rows.length) this.number = this.rows.length;
    this.refreshHead();
    this.refreshStrip();
    this.refreshMore();
    if (!this.form.contains(document.activeElement)) this.fillFields();
    const names = [...Object.keys(this.book.map(["features"]))];
    if (!same([...this.names.children].map((each) => (each as HTMLOptionElement).value), names)) fill(this.names, ...names.map((name) => h("option", { value: name })));
    this.showWrong();
    this.askKind();
  }

  /** Return whether the row is still being typed: what is not there yet is no fault. */
  private get unfinished(): boolean {
    return this.form.contains(document.activeElement) && (!this.name.value.trim() || (this.offsetShown() && !this.offset.value.trim()));
  }

  private asked = "";

  /** Ask what a feature is that rows speak of and that the book does not know yet: without that it is not drawn. */
  private askKind(): void {
    const name = spokenOf(this.book, "features").find((each) => document.activeElement !== this.name || each !== this.name.value.trim()) ?? "";
    if (name === this.asked) return;
    this.asked = name;
    if (!name) { fill(this.fresh); return; }
    const kinds = Object.entries(this.book.start.kinds as Record<string, string>).filter(([, geometry]) => geometry !== "point");
    const select = h("select", { id: "fresh-kind" }, h("option", { value: "" }, say("card.choose")), ...kinds.map(([kind]) => h("option", { value: kind }, kind)));
    const go = () => { if (select.value) this.book.set(["features", name], { kind: select.value, [this.book.start.kinds[select.value] === "area" ? "ring" : "through"]: "booked" }); };
    let pointed = false;
    select.addEventListener("pointerdown", () => { pointed = true; });
    select.addEventListener("keydown", (event) => { pointed = false; if (event.key === "Enter") { event.preventDefault(); go(); } });
    select.addEventListener("change", () => { if (pointed) go(); });
    fill(this.fresh, h("div", { class: "field" }, h("label", { for: "fresh-kind" }, say("row.fresh", { name })), select, h("div", { class: "tools" }, h("button", { type: "button", "aria-label": say("card.add_named", { name }), onclick: go }, "+"))));
  }

  private showWrong(): void {
    const wrong = this.number < this.rows.length && !this.unfinished ? this.book.wrongIn(this.path) : [];
    const text = wrong.map((finding) => finding.text).join(" ");
    if (this.status.textContent !== text) this.status.textContent = text;
    for (const input of [this.at, this.offset, this.name]) input.toggleAttribute("aria-invalid", false);
    const title = this.form.querySelector(".row-title")!;
    title.textContent = this.number < this.rows.length ? say("row.title", { number: this.number + 1, line: this.line }) : say("row.title_new", { line: this.line });
  }

  private refreshStrip(): void {
    const rows = this.rows;
    while (this.strip.children.length > rows.length) this.strip.lastElementChild!.remove();
    rows.forEach((value, number) => {
      const row = (value ?? {}) as Row;
      let item = this.strip.children[number] as HTMLLIElement | undefined;
      if (!item) {
        const button = h("button", { type: "button", class: "strip-row", onclick: () => { this.show(this.line, number); this.book.choose(this.path); this.at.focus(); } });
        item = h("li", {}, button);
        put(this.strip, item);
      }
      const wrong = this.book.wrongIn(["lines", this.line, "details", number]).length > 0 && !(number === this.number && this.unfinished);
      const key = JSON.stringify([row, wrong, number === this.number]);
      if (item.dataset.key === key) return;
      item.dataset.key = key;
      item.classList.toggle("wrong", wrong);
      item.classList.toggle("current", number === this.number);
      const what = listText(row.station ?? row.point ?? row.feature);
      const kind = listText(row.kind);
      const words = [what, kind].filter(Boolean).join(", ") || "…";
      const figure = (side: string) => (row[side] !== undefined ? [h("b", {}, listText(row[side])), " ", words] : []);
      const on = row.left === undefined && row.right === undefined;
      fill(item.firstElementChild!,
        h("span", { class: "left" }, ...figure("left")),
        h("span", { class: "chain" }, wrong ? "! " : null, listText(row.at)),
        h("span", { class: "right" }, ...(on ? [h("i", {}, words)] : figure("right"))));
    });
    this.strip.setAttribute("aria-label", say("row.strip", { line: this.line, count: rows.length }));
  }

  private headFields(): HTMLElement[] {
    if (!this.line) return [h("p", { class: "hint" }, say("row.no_lines"))];
    const path = ["lines", this.line];
    const schema = at(path);
    const value = this.book.map(path);
    const keys = [...new Set(["use", "taped", ...Object.keys(value).filter((key) => !/^details/.test(key))])].filter((key) => key !== "taped" || value.legs === undefined);
    const simple = (value: unknown) => typeof value !== "object" || (Array.isArray(value) && value.every((part) => typeof part === "string"));
    const narrow = matchMedia("(max-width: 759px)").matches && this.rows.length > 0;
    const main = narrow ? [] : keys.slice(0, 2).filter((key) => simple(value[key]));
    const rest = keys.filter((key) => !main.includes(key));
    const others = h("details", { "data-name": "line", open: keep("line-open") === "yes" }, h("summary", {}, narrow ? `${this.line}: ${listText(value.use)}, ${sayKey("taped")} ${listText(value.taped) || "?"}` : say("row.line_more")),
      ...rest.map((key) => editor(this.book, [...path, key], under(schema, key), 1)), adder(this.book, path, schema, value),
      h("button", { type: "button", class: "quiet", onclick: () => { const line = this.line; this.line = ""; this.book.remove(["lines", line]); } }, say("row.remove_line", { line: this.line })));
    others.addEventListener("toggle", () => keep("line-open", others.open ? "yes" : "no"));
    return [...main.map((key) => field(this.book, [...path, key], under(schema, key))), others];
  }

  private moreFields(): HTMLElement[] {
    if (this.number >= this.rows.length) return [h("p", { class: "hint" }, say("row.more_later"))];
    const schema = at(this.path);
    const rest = Object.keys(this.row).filter((key) => !BIG.includes(key) || (key === "point" && this.row.feature !== undefined));
    const free = { ...this.row, ...Object.fromEntries(BIG.filter((key) => key !== "point").map((key) => [key, ""])) };
    return [...rest.map((key) => editor(this.book, [...this.path, key], under(schema, key), 1)), adder(this.book, this.path, schema, free)];
  }
}

