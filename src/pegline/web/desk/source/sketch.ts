// A layout before the measuring: pegs tapped on an empty sheet or on a photo of the sketch, lines from peg to peg.

import { Book, Value } from "./book";
import type { Link, Message } from "./link";
import { fill, h, put } from "./dom";
import { imageList, photoButtons } from "./photos";
import { say } from "./words";

const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 100;
const HEIGHT = 80;
const USES = ["base", "side", "tie", "check"];
const NEAR = 5;

export class SketchLeaf {
  readonly element = h("div", { class: "sketch" });
  private readonly sheet = document.createElementNS(SVG, "svg");
  private readonly use = h("select", { id: "sketch-use" }, ...USES.map((use) => h("option", { value: use, selected: use === "side" }, use)));
  private readonly said = h("div", { class: "said", role: "status" });
  private from: string | null = null;
  private photo = "";

  constructor(private readonly book: Book, private readonly link: Link) {
    this.sheet.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
    this.sheet.setAttribute("class", "sketch-sheet");
    this.sheet.setAttribute("role", "img");
    this.sheet.setAttribute("aria-label", say("sketch.label"));
    this.sheet.addEventListener("click", (event) => this.tap(event));
    const photos = imageList(book, "sketch-photo", say("sketch.empty_sheet"));
    const take = (name: string) => { this.photo = photos.value = name; this.refresh(); };
    photos.addEventListener("change", () => take(photos.value));
    const one = h("input", { id: "sketch-from", type: "text", autocomplete: "off" });
    const other = h("input", { id: "sketch-to", type: "text", autocomplete: "off" });
    put(this.element, h("p", { class: "hint" }, say("sketch.hint")),
      h("div", { class: "line-bar" },
        h("div", { class: "field" }, h("label", { for: "sketch-photo" }, say("sketch.on")), photos),
        h("div", { class: "field" }, h("label", { for: "sketch-use" }, say("sketch.use")), this.use)),
      photoButtons(book, take),
      this.sheet,
      h("div", { class: "line-bar" },
        h("div", { class: "field" }, h("label", { for: "sketch-from" }, say("sketch.from")), one),
        h("div", { class: "field" }, h("label", { for: "sketch-to" }, say("sketch.to")), other),
        h("button", { type: "button", onclick: () => { if (one.value.trim() && other.value.trim()) { this.join(one.value.trim(), other.value.trim()); one.value = other.value = ""; } } }, say("sketch.join"))),
      h("div", { class: "row-buttons" }, h("button", { type: "button", class: "main", onclick: () => { fill(this.said, h("p", {}, say("verdict.working"))); this.link.send({ do: "judge_layout" }); } }, say("sketch.judge"))),
      this.said);
  }

  private places(): Map<string, [number, number]> {
    const found = new Map<string, [number, number]>();
    for (const [name, station] of Object.entries(this.book.map(["stations"]))) {
      const spot = (station as { sketch?: Value })?.sketch;
      if (Array.isArray(spot) && spot.length === 2 && spot.every((each) => Number.isFinite(Number(each)))) found.set(name, [Number(spot[0]), Number(spot[1])]);
    }
    return found;
  }

  /** Return how the book's sketch lies on the sheet: its own unit, y up the page. */
  private frame(): { x: (x: number) => number; y: (y: number) => number; back: (x: number, y: number) => [number, number] } {
    const spots = [...this.places().values()];
    const inside = spots.every(([x, y]) => x >= 0 && x <= WIDTH && y >= 0 && y <= HEIGHT);
    const extent = (values: number[]) => Math.max(...values) - Math.min(...values);
    const filled = spots.length < 3 || extent(spots.map(([x]) => x)) > 0.3 * WIDTH || extent(spots.map(([, y]) => y)) > 0.3 * HEIGHT;
    if (inside && filled) return { x: (x) => x, y: (y) => HEIGHT - y, back: (x, y) => [x, HEIGHT - y] };
    const [xs, ys] = [spots.map(([x]) => x), spots.map(([, y]) => y)];
    const [left, low] = [Math.min(...xs), Math.min(...ys)];
    const size = 0.8 * Math.min(WIDTH / (Math.max(...xs) - left || 1), HEIGHT / (Math.max(...ys) - low || 1));
    return { x: (x) => 10 + (x - left) * size, y: (y) => HEIGHT - 8 - (y - low) * size, back: (x, y) => [left + (x - 10) / size, low + (HEIGHT - 8 - y) / size] };
  }

  private tap(event: MouseEvent): void {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.sheet.getScreenCTM()!.inverse());
    const frame = this.frame();
    const near = [...this.places()].find(([, [x, y]]) => Math.hypot(frame.x(x) - point.x, frame.y(y) - point.y) < NEAR);
    if (near) {
      if (this.from && this.from !== near[0]) { this.join(this.from, near[0]); this.from = null; }
      else this.from = this.from ? null : near[0];
      this.refresh();
      return;
    }
    const [x, y] = frame.back(point.x, point.y);
    this.book.set(["stations", this.free(), "sketch"], [x.toFixed(1), y.toFixed(1)]);
    this.from = null;
  }

  private free(): string {
    const taken = new Set(Object.keys(this.book.map(["stations"])));
    for (let number = 0; ; number += 1) {
      const name = String.fromCharCode(65 + (number % 26)) + (number < 26 ? "" : String(Math.floor(number / 26)));
      if (!taken.has(name)) return name;
    }
  }

  private join(one: string, other: string): void {
    const lines = this.book.map(["lines"]);
    const name = `${other}-${one}` in lines ? `${other}-${one}` : `${one}-${other}`;
    this.book.set(["lines", name, "use"], this.use.value);
    if (this.use.value === "base") this.use.value = "side";
  }

  refresh(): void {
    const frame = this.frame();
    const places = this.places();
    const draw = (tag: string, values: Record<string, string | number>, text?: string) => {
      const element = document.createElementNS(SVG, tag);
      for (const [name, value] of Object.entries(values)) element.setAttribute(name, String(value));
      if (text) element.textContent = text;
      return element;
    };
    const parts: Element[] = [];
    if (this.photo) parts.push(draw("image", { href: `/scan/${this.photo.split("/").map(encodeURIComponent).join("/")}`, width: WIDTH, height: HEIGHT, opacity: 0.6 }));
    for (const [name, line] of Object.entries(this.book.map(["lines"]))) {
      const [one, other] = name.split("-").map((each) => places.get(each));
      if (!one || !other) continue;
      const use = String((line as { use?: Value })?.use ?? "side");
      parts.push(draw("line", { x1: frame.x(one[0]), y1: frame.y(one[1]), x2: frame.x(other[0]), y2: frame.y(other[1]), class: `sketch-line ${use}` }));
    }
    for (const [name, [x, y]] of places) {
      parts.push(draw("circle", { cx: frame.x(x), cy: frame.y(y), r: 1.6, class: name === this.from ? "sketch-peg current" : "sketch-peg" }));
      parts.push(draw("text", { x: frame.x(x) + 2.4, y: frame.y(y) - 1.6, class: "sketch-name" }, name));
    }
    this.sheet.replaceChildren(...parts);
  }

  judged(message: Message): void {
    fill(this.said, ...(message.fault ? [h("p", { class: "fault" }, message.fault)] : [
      h("h3", {}, message.judgement.length ? say("sketch.judgement") : say("sketch.good")),
      h("ul", {}, ...message.judgement.map((each: Message) => h("li", {}, each.text)))]));
  }
}
