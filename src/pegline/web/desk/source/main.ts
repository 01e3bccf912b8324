// The page: a field book on one side, a sheet of paper on the other.

import { Book } from "./book";
import { shelf } from "./books";
import { sectionsLeaf } from "./card";
import { ChecksLeaf } from "./checks";
import { fill, h, keep, keepHere, put, same } from "./dom";
import { HandLeaf } from "./hand";
import { Link, Message } from "./link";
import { PlanLeaf } from "./plan";
import { RowsLeaf } from "./rows";
import { ScanLeaf } from "./scan";
import { useSchema } from "./schema";
import { SketchLeaf } from "./sketch";
import { TextLeaf } from "./text";
import { LANGUAGES, language, loadWords, say } from "./words";

interface Leaf { name: string; title: string; element: HTMLElement; refresh?: () => void }

/** Give the key of the address for the pass, and take it out of the address. */
async function letIn(): Promise<boolean> {
  const key = new URLSearchParams(location.hash.slice(1)).get("k");
  if (key) {
    await fetch("/key", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ key }) });
    history.replaceState(null, "", location.pathname);
  }
  const answer = await fetch("/start");
  if (!answer.ok) return false;
  start = await answer.json();
  return true;
}

let start: Message;

async function begin(): Promise<void> {
  const [inside] = await Promise.all([letIn(), loadWords()]);
  if (keep("light") === "sun") document.documentElement.classList.add("sun");
  if (!inside) {
    fill(document.body, h("main", { class: "leaf shut" }, h("h1", {}, say("shut.title")), h("p", {}, say("shut.text"))));
    return;
  }
  useSchema(start.schema);
  new Desk(start).open();
}

/** A pane with its leaves, one of them on top, reached by tabs. */
class Pane {
  readonly element: HTMLElement;
  private readonly tabs: HTMLElement;
  current = "";

  constructor(name: string, label: string, private readonly leaves: Leaf[], private readonly shown: (leaf: Leaf) => void) {
    this.tabs = h("div", { class: "tabs", role: "tablist", "aria-label": label }, ...leaves.map((leaf) =>
      h("button", { type: "button", role: "tab", id: `tab-${leaf.name}`, "aria-controls": `leaf-${leaf.name}`, "aria-selected": "false", tabindex: -1, onclick: () => this.show(leaf.name), onkeydown: (event: KeyboardEvent) => this.move(event) }, leaf.title)));
    this.element = h("section", { class: `pane ${name}`, "aria-label": label }, this.tabs, ...leaves.map((leaf) => h("div", { class: "leaf", role: "tabpanel", id: `leaf-${leaf.name}`, "aria-labelledby": `tab-${leaf.name}`, hidden: true }, leaf.element)));
    this.show(leaves[0].name);
  }

  show(name: string): void {
    this.current = name;
    for (const leaf of this.leaves) {
      const on = leaf.name === name;
      const tab = this.tabs.querySelector<HTMLElement>(`#tab-${leaf.name}`)!;
      tab.setAttribute("aria-selected", String(on));
      tab.tabIndex = on ? 0 : -1;
      this.element.querySelector<HTMLElement>(`#leaf-${leaf.name}`)!.hidden = !on;
      if (on) { tab.scrollIntoView({ block: "nearest", inline: "nearest" }); leaf.refresh?.(); this.shown(leaf); }
    }
  }

  get leaf(): Leaf {
    return this.leaves.find((each) => each.name === this.current)!;
  }

  private move(event: KeyboardEvent): void {
    const forward = document.documentElement.dir === "rtl" ? "ArrowLeft" : "ArrowRight";
    const back = forward === "ArrowLeft" ? "ArrowRight" : "ArrowLeft";
    if (event.key !== forward && event.key !== back) return;
    const number = this.leaves.findIndex((leaf) => leaf.name === this.current);
    this.show(this.leaves[(number + (event.key === forward ? 1 : this.leaves.length - 1)) % this.leaves.length].name);
    this.tabs.querySelector<HTMLElement>(`#tab-${this.current}`)!.focus();
    event.preventDefault();
  }
}

const bare = (file: string) => file.replace(/\.ya?ml$/i, "");

class Desk {
  private readonly link = new Link();
  private readonly book: Book;
  private readonly plan: PlanLeaf;
  private readonly rows: RowsLeaf;
  private readonly sections: { element: HTMLElement; refresh: () => void };
  private readonly text: TextLeaf;
  private readonly checks: ChecksLeaf;
  private readonly sketch: SketchLeaf;
  private readonly scan: ScanLeaf;
  private readonly hand: HandLeaf;
  private readonly left: Pane;
  private readonly right: Pane;
  private readonly saved = h("span", { class: "saved", role: "status" });
  private readonly notice = h("div", { class: "notices", role: "alert" });
  private readonly title = h("button", { type: "button", class: "title", onclick: () => this.showShelf() });
  private readonly undo = h("button", { type: "button", "aria-label": say("desk.undo"), title: say("desk.undo"), onclick: () => this.link.change({ do: "undo" }) }, "↶");
  private readonly redo = h("button", { type: "button", "aria-label": say("desk.redo"), title: say("desk.redo"), onclick: () => this.link.change({ do: "redo" }) }, "↷");
  private readonly main = h("main", { class: "desk" });
  private trouble = "";

  constructor(start: Message) {
    const link = this.link;
    const book = (this.book = new Book(link, start));
    this.plan = new PlanLeaf(book);
    this.rows = new RowsLeaf(book);
    this.sections = sectionsLeaf(book);
    this.text = new TextLeaf(book, link);
    this.sketch = new SketchLeaf(book, link);
    this.scan = new ScanLeaf(book);
    this.hand = new HandLeaf(link);
    this.checks = new ChecksLeaf(book, link, this.plan, (source) => this.look(source));
    this.plan.onTap = (source) => this.look(source);
    this.left = new Pane("book-side", say("desk.book_side"), [
      { name: "rows", title: say("leaf.rows"), element: this.rows.element, refresh: () => this.rows.refresh() },
      { name: "cards", title: say("leaf.cards"), element: this.sections.element, refresh: () => this.sections.refresh() },
      { name: "text", title: say("leaf.text"), element: this.text.element },
      { name: "sketch", title: say("leaf.sketch"), element: this.sketch.element, refresh: () => this.sketch.refresh() },
    ], (leaf) => this.text.show(leaf.name === "text"));
    this.right = new Pane("sheet-side", say("desk.sheet_side"), [
      { name: "plan", title: say("leaf.plan"), element: this.plan.element },
      { name: "checks", title: say("leaf.checks"), element: this.checks.element },
      { name: "scan", title: say("leaf.scan"), element: this.scan.element, refresh: () => this.scan.refresh() },
      { name: "hand", title: say("leaf.hand"), element: this.hand.element },
    ], () => {});
    this.build();
    this.listen();
  }

  private build(): void {
    const languages = h("select", { "aria-label": say("desk.language") }, ...Object.entries(LANGUAGES).map(([key, each]) => h("option", { value: key, selected: key === language }, each.name)));
    languages.addEventListener("change", async () => { await loadWords(languages.value); location.reload(); });
    const sun = h("button", { type: "button", class: "quiet", "aria-pressed": String(keep("light") === "sun"), onclick: () => {
      const on = document.documentElement.classList.toggle("sun");
      keep("light", on ? "sun" : "shade");
      sun.setAttribute("aria-pressed", String(on));
    } }, say("desk.sun"));
    this.checks.stamp.addEventListener("click", () => { this.right.show("checks"); this.turn("sheet"); });
    const turns = h("div", { class: "turn", role: "group", "aria-label": say("desk.turn") },
      ...(["book", "sheet"] as const).map((side) => h("button", { type: "button", "data-side": side, onclick: () => this.turn(side) }, side === "book" ? say("desk.book_side") : say("desk.sheet_side"))));
    put(this.main, this.left.element, this.right.element);
    fill(document.body,
      h("header", {}, h("h1", {}, this.title), h("div", { class: "marks" }, this.undo, this.redo, this.checks.stamp), this.saved, h("details", { class: "settings" }, h("summary", { "aria-label": say("desk.settings"), title: say("desk.settings") }, "⚙"), h("div", {}, languages, sun))),
      this.notice, this.main, turns);
    this.turn("book");
  }

  private turn(side: "book" | "sheet"): void {
    document.body.dataset.side = side;
    for (const button of document.querySelectorAll<HTMLElement>(".turn button")) button.setAttribute("aria-pressed", String(button.dataset.side === side));
  }

  open(): void {
    this.link.greeting = () => (this.book.name ? { do: "open", book: this.book.name, mark: this.book.mark, sections: this.text.unconfirmed(), layers: this.plan.layers } : null);
    this.link.open();
    const before = keepHere("book");
    const book = start.open ?? (before && start.books.includes(before) ? before : null);
    if (book) this.openBook(book);
    else this.showShelf();
  }

  private openBook(name: string): void {
    this.book.name = name;
    this.plan.clear();
    this.checks.clear();
    this.rows.line = "";
    this.book.chosen = [];
    this.left.show("rows");
    this.right.show("plan");
    document.body.classList.remove("on-shelf");
    document.querySelector(".shelf-leaf")?.remove();
    this.link.send({ do: "open", book: name, layers: this.plan.layers });
  }

  private async showShelf(): Promise<void> {
    const answer = await fetch("/start");
    if (answer.ok) start.books = (await answer.json()).books;
    document.querySelector(".shelf-leaf")?.remove();
    document.body.classList.add("on-shelf");
    this.title.textContent = bare(this.book.name) || say("shelf.choose");
    this.main.before(shelf(this.link, start, (name) => this.openBook(name)));
  }

  /** Show what stands at a place of the book, in whichever leaf holds it. */
  private look(source: string): void {
    const path = this.book.pathAt(source);
    if (!path) return;
    if (this.left.current !== "text") this.left.show(path[0] === "lines" ? "rows" : "cards");
    (document.activeElement as HTMLElement | null)?.blur();
    this.book.choose(path);
    this.turn("book");
  }

  // -- what the desk tells ----------------------------------------------------------------------

  private listen(): void {
    const { link, book } = this;
    link.on("you", (message) => { book.me = message.are; });
    link.on("document", (message) => {
      book.name = message.name;
      book.version = message.version;
      book.mark = message.mark;
      this.text.begin(message.text, message.version);
      this.counts(message);
      this.clashes(message.clashes);
      this.refusal = "";
      keepHere("book", message.name);
      this.title.textContent = bare(message.name);
      document.body.classList.remove("on-shelf");
      document.querySelector(".shelf-leaf")?.remove();
    });
    link.on("changed", (message) => {
      this.text.changed(message);
      book.version = message.version;
      book.mark = message.mark;
      this.counts(message);
      this.saved.textContent = say("desk.saving");
      this.checks.working();
    });
    link.on("tree", (message) => this.tree(message));
    link.on("plan", (message) => {
      const told = !same([book.wrong, book.missing], [message.wrong, message.missing]);
      book.wrong = message.wrong;
      book.missing = message.missing;
      if (book.fault) this.plan.stale(); else this.plan.show(message);
      this.text.showFindings(message.wrong, message.missing);
      if (told) this.refresh();
    });
    link.on("verdict", (message) => this.checks.show(message));
    link.on("tried", (message) => this.checks.tried(message));
    link.on("handed", (message) => this.hand.handed(message));
    link.on("layout", (message) => this.sketch.judged(message));
    link.on("saved", (message) => { if (message.version === book.version) this.saved.textContent = say("desk.saved"); });
    link.on("trouble", (message) => { this.trouble = message.text ? say("desk.trouble", { reason: message.text }) : ""; this.notices(); });
    link.on("clashes", (message) => this.clashes(message.clashes));
    link.on("differs", (message) => { this.differences.push(message); this.notices(); });
    link.on("refused", (message) => { this.checks.refused(message.text); this.refusal = message.text; this.notices(); });
    link.on("done", () => { if (this.refusal) { this.refusal = ""; this.notices(); } });
    link.on("broken", () => { this.broken = true; this.notices(); });
    link.on("open", () => { this.broken = false; this.notices(); });
  }

  private tree(message: Message): void {
    const { book } = this;
    if (message.version !== book.version) return;
    book.fault = message.fault ?? null;
    if (message.fault) {
      this.plan.stale();
    } else {
      // Edits that are still on their way stand in our tree already; the last tree that comes holds them all.
      if (this.link.waiting) return;
      book.tree = message.tree && typeof message.tree === "object" ? message.tree : {};
      book.places = message.places;
      document.title = `${book.tree.title ?? book.name} – pegline desk`;
    }
    this.refresh();
  }

  private refresh(): void {
    const tab = document.getElementById("tab-checks")!;
    tab.textContent = say("leaf.checks") + (this.book.wrong.length ? ` ! ${this.book.wrong.length}` : "");
    this.main.classList.toggle("unreadable", this.book.fault !== null);
    this.left.leaf.refresh?.();
    this.right.leaf.refresh?.();
    this.notices();
  }

  private counts(message: Message): void {
    this.undo.disabled = !message.undo;
    this.redo.disabled = !message.redo;
  }

  private broken = false;
  private refusal = "";
  private differences: Message[] = [];

  private clashes(list: Message[]): void {
    this.book.clashes = list;
    this.notices();
  }

  private shownNotices = "";

  private notices(): void {
    const fault = this.book.fault;
    const key = JSON.stringify([this.trouble, this.broken, this.refusal, this.differences, this.book.clashes, fault]);
    if (key === this.shownNotices) return;
    this.shownNotices = key;
    const settle = (message: Message, again: boolean) => {
      this.differences = this.differences.filter((each) => each !== message);
      if (again) this.link.change({ do: "edit", action: "set", path: message.path, value: message.mine, anyway: true });
      this.notices();
    };
    fill(this.notice,
      this.broken ? h("p", {}, say("desk.broken")) : null,
      this.trouble ? h("p", {}, this.trouble) : null,
      fault ? h("p", {}, say("desk.unreadable", { line: fault.line ?? 1, text: fault.text })) : null,
      this.refusal ? h("p", {}, this.refusal, h("button", { type: "button", class: "quiet", onclick: () => { this.refusal = ""; this.notices(); } }, say("desk.close"))) : null,
      ...this.differences.map((each) => h("div", { class: "clash" },
        h("p", {}, say("clash.value", { where: each.path.join(" ") })),
        this.choice(say("clash.now"), text(each.now), say("clash.keep"), () => settle(each, false)),
        this.choice(say("clash.mine"), text(each.mine), say("clash.put"), () => settle(each, true)))),
      ...this.book.clashes.map((each) => h("div", { class: "clash" },
        h("p", {}, say(each.outside ? "clash.outside" : "clash.lines", { line: each.line })),
        this.choice(say("clash.now"), each.now, say("clash.keep"), () => this.link.change({ do: "choose", number: each.number, mine: false })),
        this.choice(say("clash.other"), each.mine, say("clash.put"), () => this.link.change({ do: "choose", number: each.number, mine: true })))));
  }

  private choice(label: string, value: string, button: string, does: () => void): HTMLElement {
    return h("div", { class: "choice" }, h("b", {}, label), h("pre", {}, value), h("button", { type: "button", onclick: does }, button));
  }
}

function text(value: unknown): string {
  return typeof value === "string" ? value : value == null ? "–" : JSON.stringify(value);
}

void begin();
