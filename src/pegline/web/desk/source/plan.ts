// The plan: the sheet that the desk sends, to pan, to zoom and to tap. Nothing is drawn here.

import { Book } from "./book";
import type { Message } from "./link";
import { fill, h, keep, put } from "./dom";
import { say } from "./words";

/** Layers that may be shown beside what plots, as the reader chooses. */
const EXTRA = ["CHAIN-LINES", "CHECK-LINES", "OFFSETS", "OFFSET-FIGURES", "POINTS", "POINT-NAMES", "ELLIPSES", "WITNESSES"] as const;
const AT_FIRST = "CHAIN-LINES,CHECK-LINES,POINTS"; // points, so that every row can be seen on the plan
const REACH = [0, 5, 10, 16, 24];
const STEP = 1.3;
const NARROW = 600;
/** The groups of a sheet, a layer each; none holds another. */
const GROUPS = /<g class="[^>]*>[^]*?<\/g>/g;
/** What stands in a group: lines, areas and texts; none holds another. */
const THINGS = /<(?:path|polyline|polygon)[^>]*\/>|<text[^>]*>[^<]*<\/text>/g;

/** Make of one state of a group the next, touching only what changed where nothing came or went. */
function renderGroup(element: Element, before: string, now: string): void {
  const head = (group: string) => group.slice(0, group.indexOf(">"));
  const [old, wanted] = [before.match(THINGS) ?? [], now.match(THINGS) ?? []];
  if (head(before) !== head(now) || old.length !== wanted.length || element.childElementCount !== wanted.length) element.outerHTML = now;
  else [...element.children].forEach((child, number) => { if (wanted[number] !== old[number]) child.outerHTML = wanted[number]; });
}

export class PlanLeaf {
  readonly element = h("div", { class: "plan" });
  private readonly view = h("div", { class: "plan-view", tabindex: 0, role: "application", "aria-label": say("plan.label") });
  private readonly sheet = h("div", { class: "sheet-paper" });
  private readonly note = h("p", { class: "plan-note", role: "status" });
  private readonly pages = h("select", { class: "quiet", "aria-label": say("plan.sheet") });
  private drawn: string[] = [];
  private groups: string[] = [];
  private frame = "";
  private page = 0;
  private version = -1;
  private trying = false;
  private shown = new Set((keep("layers") ?? AT_FIRST).split(",").filter(Boolean));
  /** Of the view, as it was last told: asking for it while the plan is being replaced would lay it out twice. */
  private size = { width: 0, height: 0 };
  private scale = 1;
  private x = 0;
  private y = 0;
  private pointers = new Map<number, PointerEvent>();
  private moved = 0;
  onTap: (source: string) => void = () => {};

  constructor(private readonly book: Book) {
    put(this.view, this.sheet);
    put(this.element, this.note, this.view, this.tools());
    book.on("chosen", () => this.mark());
    this.listen();
    new ResizeObserver(([entry]) => { this.size = entry.contentRect; this.place(); this.lookFirst(); }).observe(this.view);
  }

  private tools(): HTMLElement {
    const layers = h("details", { class: "layers" }, h("summary", {}, say("plan.layers")), ...EXTRA.map((layer) => {
      const box = h("input", { type: "checkbox", id: `layer-${layer}` });
      box.checked = this.shown.has(layer);
      box.addEventListener("change", () => {
        if (box.checked) this.shown.add(layer); else this.shown.delete(layer);
        keep("layers", [...this.shown].join(","));
        this.showLayers(this.sheet);
        this.book.link.send({ do: "layers", layers: this.layers });
      });
      return h("p", {}, box, h("label", { for: box.id }, say(`layer.${layer}`)));
    }));
    this.pages.addEventListener("change", () => { this.page = Number(this.pages.value); this.render(); });
    const button = (sign: string, key: Parameters<typeof say>[0], does: () => void) => h("button", { type: "button", "aria-label": say(key), onclick: does }, sign);
    return h("div", { class: "plan-tools" }, button("+", "plan.larger", () => this.zoom(STEP)), button("−", "plan.smaller", () => this.zoom(1 / STEP)), button("▭", "plan.whole", () => this.whole()), this.pages, layers);
  }

  /** The layers to draw beside what plots. */
  get layers(): string[] {
    return [...this.shown];
  }

  /** Show a plan; an empty one leaves the last that could be drawn, and says so. */
  show(message: Message): void {
    if (this.trying) return;
    this.version = message.version;
    if (message.pages.length) {
      this.drawn = message.pages;
      this.render();
      this.lookFirst();
      this.say("");
    } else this.say(this.drawn.length ? say("plan.last_good") : say("plan.nothing"));
  }

  /** Say that the text cannot be read just now; the last plan stays. */
  stale(): void {
    if (!this.trying) this.say(this.drawn.length ? say("plan.being_written") : say("plan.nothing"));
  }

  clear(): void {
    this.drawn = [];
    this.trying = this.looked = false;
    this.whole();
    this.groups = [];
    fill(this.sheet);
    this.say("");
  }

  try(pages: string[] | null, text: string): void {
    this.trying = pages !== null;
    this.element.classList.toggle("trying", this.trying);
    if (pages) { const kept = this.drawn; this.drawn = pages; this.render(); this.drawn = kept; }
    else this.render();
    this.say(text);
  }

  private say(text: string): void {
    if (this.note.textContent !== text) this.note.textContent = text;
    this.element.classList.toggle("stale", text !== "" && !this.trying);
  }

  private render(): void {
    if (this.page >= this.drawn.length) this.page = 0;
    const drawn = this.drawn[this.page] ?? "";
    if (!this.renderGroups(drawn)) this.renderWhole(drawn);
    if (this.pages.options.length !== this.drawn.length) fill(this.pages, ...this.drawn.map((_, i) => h("option", { value: i }, `${i + 1}/${this.drawn.length}`)));
    this.pages.hidden = this.drawn.length < 2;
    this.pages.value = String(this.page);
    this.mark();
    this.element.dataset.version = String(this.version);
  }

  private renderWhole(drawn: string): void {
    const template = document.createElement("template");
    template.innerHTML = drawn;
    this.showLayers(template.content);
    this.sheet.replaceChildren(template.content);
    const svg = this.sheet.firstElementChild;
    svg?.setAttribute("role", "img");
    svg?.removeAttribute("width");
    svg?.removeAttribute("height");
    this.groups = drawn.match(GROUPS) ?? [];
    this.frame = drawn.replace(GROUPS, "");
    this.place();
  }

  /** Replace only the groups that changed, where the rest of the sheet is as it was; return whether it is. */
  private renderGroups(drawn: string): boolean {
    const groups = drawn.match(GROUPS) ?? [];
    const shown = this.sheet.querySelectorAll<SVGGElement>("g[class]");
    if (!groups.length || groups.length !== this.groups.length || shown.length !== groups.length || drawn.replace(GROUPS, "") !== this.frame) return false;
    groups.forEach((group, number) => {
      if (group !== this.groups[number]) renderGroup(shown[number], this.groups[number], group);
    });
    this.groups = groups;
    this.showLayers(this.sheet);
    return true;
  }

  private showLayers(content: ParentNode): void {
    for (const layer of EXTRA) for (const group of content.querySelectorAll<SVGGElement>(`g.${layer}`)) group.style.display = this.shown.has(layer) ? "" : "none";
  }

  /** Mark what was drawn from the row that is chosen. */
  private mark(): void {
    for (const each of this.sheet.querySelectorAll(".chosen")) each.classList.remove("chosen");
    for (let path = this.book.chosen; path.length > 1; path = path.slice(0, -1)) {
      const source = this.book.sourceOf(path);
      const found = source ? this.sheet.querySelectorAll(`[data-source="${source}"]`) : [];
      for (const each of found) each.classList.add("chosen");
      if (found.length) return;
    }
  }

  // -- pan, zoom, tap ---------------------------------------------------------------------------

  private listen(): void {
    this.view.addEventListener("pointerdown", (event) => {
      this.view.setPointerCapture(event.pointerId);
      this.pointers.set(event.pointerId, event);
      if (this.pointers.size === 1) this.moved = 0;
    });
    this.view.addEventListener("pointermove", (event) => {
      const before = this.pointers.get(event.pointerId);
      if (!before) return;
      const others = [...this.pointers.values()].filter((each) => each.pointerId !== event.pointerId);
      this.pointers.set(event.pointerId, event);
      this.moved += Math.abs(event.clientX - before.clientX) + Math.abs(event.clientY - before.clientY);
      if (others.length) {
        const [other] = others;
        const span = (one: PointerEvent) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
        this.zoom(span(event) / Math.max(1, span(before)), (event.clientX + other.clientX) / 2, (event.clientY + other.clientY) / 2);
      } else {
        this.x += event.clientX - before.clientX;
        this.y += event.clientY - before.clientY;
        this.place();
      }
    });
    const end = (event: PointerEvent) => {
      if (this.pointers.delete(event.pointerId) && event.type === "pointerup" && this.moved < 8) this.tap(event.clientX, event.clientY);
    };
    this.view.addEventListener("pointerup", end);
    this.view.addEventListener("pointercancel", end);
    this.view.addEventListener("wheel", (event) => { event.preventDefault(); this.zoom(Math.exp(-event.deltaY / 500), event.clientX, event.clientY); }, { passive: false });
    this.view.addEventListener("keydown", (event) => {
      const moves: Record<string, [number, number]> = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] };
      if (event.key in moves) { const [dx, dy] = moves[event.key]; this.x += dx; this.y += dy; this.place(); }
      else if (event.key === "+" || event.key === "=") this.zoom(STEP);
      else if (event.key === "-") this.zoom(1 / STEP);
      else if (event.key === "0") this.whole();
      else return;
      event.preventDefault();
    });
  }

  private zoom(by: number, clientX?: number, clientY?: number): void {
    const box = this.view.getBoundingClientRect();
    const px = (clientX ?? box.left + box.width / 2) - box.left;
    const py = (clientY ?? box.top + box.height / 2) - box.top;
    const next = Math.min(40, Math.max(0.5, this.scale * by));
    this.x = px - ((px - this.x) * next) / this.scale;
    this.y = py - ((py - this.y) * next) / this.scale;
    this.scale = next;
    this.place();
  }

  private whole(): void {
    this.scale = 1;
    this.x = this.y = 0;
    this.place();
  }

  private looked = false;

  /** Look at a book's first plan: the whole sheet, or on a narrow screen the map, for a sheet is too small to read there. */
  private lookFirst(): void {
    if (this.looked || !this.drawn.length || !this.size.width) return;
    this.looked = true;
    if (this.size.width < NARROW) this.mapAlone();
  }

  /** Fill the view with the map. */
  private mapAlone(): void {
    const svg = this.sheet.firstElementChild as SVGSVGElement | null;
    const map = svg?.querySelector<SVGRectElement>("clipPath rect");
    if (!svg || !map || !this.size.width) return;
    const [left, top, width, height] = ["x", "y", "width", "height"].map((name) => Number(map.getAttribute(name)));
    const { width: wide, height: high } = svg.viewBox.baseVal;
    const fit = Math.min(this.size.width / wide, this.size.height / high);
    this.scale = Math.min(this.size.width / width, this.size.height / height) / fit;
    const pixel = fit * this.scale;
    const [x, y] = [(this.size.width - wide * fit) / 2, (this.size.height - high * fit) / 2];
    this.x = (this.size.width - width * pixel) / 2 - left * pixel - x * this.scale;
    this.y = (this.size.height - height * pixel) / 2 - top * pixel - y * this.scale;
    this.place();
  }

  /** Put the sheet where it is looked at: zoomed by its size, so that lines and letters stay sharp. */
  private place(): void {
    const svg = this.sheet.firstElementChild as SVGSVGElement | null;
    if (!svg) return;
    const box = svg.viewBox.baseVal;
    const fit = Math.min(this.size.width / box.width, this.size.height / box.height) || 1;
    this.sheet.style.width = `${box.width * fit * this.scale}px`;
    this.sheet.style.height = `${box.height * fit * this.scale}px`;
    const [left, top] = [(this.size.width - box.width * fit) / 2, (this.size.height - box.height * fit) / 2];
    this.sheet.style.transform = `translate(${this.x + left * this.scale}px, ${this.y + top * this.scale}px)`;
  }

  /** Find what was tapped, or the nearest thing that a thumb may have meant. */
  private tap(x: number, y: number): void {
    for (const reach of REACH) {
      const turns = reach ? 12 : 1;
      for (let turn = 0; turn < turns; turn += 1) {
        const angle = (2 * Math.PI * turn) / turns;
        const under = document.elementFromPoint(x + reach * Math.cos(angle), y + reach * Math.sin(angle));
        const source = under?.closest("[data-source]")?.getAttribute("data-source");
        if (source && this.sheet.contains(under)) { this.onTap(source); return; }
      }
    }
  }
}
