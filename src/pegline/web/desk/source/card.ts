// A part of the book as a card of fields, made from the book's schema: whatever the format has, the form has.

import { Book, Path, Value } from "./book";
import { fill, h, newId, put } from "./dom";
import { Schema, about, at, choices, keysOf, listSchema, mapSchema, takesNames, takesText, under, wordsOf } from "./schema";
import { say, sayKey } from "./words";

/** Several readings or names stand in one field with this between them. */
export const BETWEEN = ";";

export function listText(value: Value | undefined): string {
  if (value === undefined) return "";
  if (Array.isArray(value)) return value.map((part) => (typeof part === "string" ? part : JSON.stringify(part))).join(`${BETWEEN} `);
  return typeof value === "string" ? value : "";
}

/** Return what a field says: a list where the schema takes one and there is more than one part. */
export function valueOf(text: string, schema: Schema | undefined, before: Value | undefined): Value {
  const list = listSchema(schema);
  if (!list) return text.trim();
  const parts = text.split(BETWEEN).map((part) => part.trim());
  const onlyList = !takesText(schema);
  if (parts.length > 1 || onlyList || (Array.isArray(before) && text.includes(BETWEEN))) return parts.filter((part, i) => part || i === 0);
  return parts[0];
}

const isMap = (value: unknown): value is { [key: string]: Value } => !!value && typeof value === "object" && !Array.isArray(value);
const simple = (value: Value) => typeof value === "string" || (Array.isArray(value) && value.every((part) => typeof part === "string"));

/** Return what a part is called: the page's word for a key of the format, the book's own word for a name of its own. */
export function nameOf(path: Path): string {
  const last = path[path.length - 1];
  if (last === undefined) return say("card.head");
  if (typeof last === "number") return say("card.number", { number: last + 1 });
  return keysOf(at(path.slice(0, -1))).includes(last) ? sayKey(last) : last;
}

/** Return one field for a value that is a text or a list of texts. */
export function field(book: Book, path: Path, schema: Schema | undefined, options: { label?: string; onEnter?: () => void } = {}): HTMLElement {
  const id = newId("field");
  const label = h("label", { for: id }, options.label ?? nameOf(path));
  const value = book.at(path);
  const words = Array.isArray(value) ? null : wordsOf(schema);
  const note = h("p", { class: "fault", id: `${id}-fault` });
  let input: HTMLInputElement | HTMLSelectElement;
  if (words && (value === undefined || typeof value === "string")) {
    input = h("select", { id, "data-path": JSON.stringify(path) }, h("option", { value: "" }, ""), ...words.map((word) => h("option", { value: word }, word)));
    if (typeof value === "string" && value && !words.includes(value)) put(input, h("option", { value }, value));
    input.value = typeof value === "string" ? value : "";
  } else {
    input = h("input", { id, type: "text", autocomplete: "off", autocapitalize: "off", spellcheck: "false", "data-path": JSON.stringify(path) });
    input.value = listText(value);
    if (numeric(schema)) input.inputMode = "decimal";
  }
  input.setAttribute("aria-describedby", note.id);
  const hint = about(at(path) ?? schema);
  if (hint) input.title = hint;
  input.addEventListener("input", () => book.set(path, valueOf(input.value, schema, book.at(path)), true));
  input.addEventListener("focus", () => book.choose(path));
  if (options.onEnter) input.addEventListener("keydown", (event) => {
    if ((event as KeyboardEvent).key === "Enter") { event.preventDefault(); options.onEnter!(); }
  });
  return h("div", { class: "field" }, label, input, h("div", { class: "tools" }), note);
}

function numeric(schema?: Schema): boolean {
  const names = JSON.stringify(schema ?? "");
  return /reading|length|chainage|"number"|"integer"|angle|bearing|dimension/.test(names) && !/\/text"/.test(names);
}

/** Return the editor of anything at a path. */
export function editor(book: Book, path: Path, schema: Schema | undefined, depth = 0): HTMLElement {
  const value = book.at(path);
  if (value === undefined || simple(value)) {
    const line = field(book, path, schema);
    const tools = line.querySelector(".tools")!;
    if (mapSchema(schema) && typeof value === "string" && takesText(schema)) put(tools, moreButton(book, path, schema!, value));
    if (value !== undefined && path.join() !== "unit") put(tools, removeButton(book, path));
    return line;
  }
  return Array.isArray(value) ? listEditor(book, path, schema, value, depth) : mapEditor(book, path, schema, value, depth);
}

/** A single reading becomes a map that can say more of it. */
function moreButton(book: Book, path: Path, schema: Schema, value: string): HTMLElement {
  const maps = choices(schema).filter((each) => each.properties);
  const map = maps.find((each) => !each.properties.either) ?? maps[0] ?? {};
  const first = map.required?.[0] ?? Object.keys(map.properties ?? {})[0];
  if (!first) return h("span");
  return h("button", { type: "button", class: "quiet", onclick: () => book.set(path, { [first]: takesText(map.properties[first]) ? value : [value, ""] }) }, say("card.more"));
}

function removeButton(book: Book, path: Path, words = false): HTMLElement {
  const label = say("card.remove_named", { name: nameOf(path) });
  return h("button", { type: "button", class: "quiet", "aria-label": words ? null : label, title: words ? null : label, onclick: () => book.remove(path) }, words ? label : "×");
}

function listEditor(book: Book, path: Path, schema: Schema | undefined, value: Value[], depth: number): HTMLElement {
  const items = value.map((_, number) => h("li", {}, editor(book, [...path, number], under(schema, number), depth + 1)));
  const shape = mapSchema(under(schema, 0));
  const add = h("button", { type: "button", onclick: () => book.insert([...path, value.length], shape ? { [keysOf(shape)[0]]: "" } : "") }, say("card.add_to", { name: nameOf(path) }));
  return h("fieldset", { class: `card depth-${depth}` }, h("legend", {}, nameOf(path)), h("ol", {}, ...items), h("div", { class: "row-buttons" }, add, removeButton(book, path, true)));
}

function mapEditor(book: Book, path: Path, schema: Schema | undefined, value: { [key: string]: Value }, depth: number): HTMLElement {
  const fields = Object.keys(value).filter((key) => !(path[0] === "lines" && /^details/.test(key))).map((key) => editor(book, [...path, key], under(schema, key), depth + 1));
  return h("fieldset", { class: `card depth-${depth}` }, h("legend", {}, nameOf(path)), ...fields, adder(book, path, schema, value), path.length > 1 ? removeButton(book, path, true) : null);
}

/** Return what adds a key: one that the format has, or a name of the book's own. */
export function adder(book: Book, path: Path, schema: Schema | undefined, value: { [key: string]: Value }): HTMLElement {
  const free = keysOf(schema).filter((key) => !(key in value) && !/^details/.test(key));
  const id = newId("add");
  const name = nameOf(path);
  const put_in = (key: string) => { if (key.trim() && !(key in value)) begin(book, [...path, key.trim()], under(schema, key)); };
  if (free.length) {
    const select = h("select", { id, class: "add", "data-add": JSON.stringify(path) }, h("option", { value: "" }, say("card.choose")), ...free.map((key) => h("option", { value: key, title: about(under(schema, key)) }, sayKey(key))));
    // A list that is gone through with the keys says nothing yet: a pointer's choice, Enter or the button does.
    let pointed = false;
    const go = () => { if (select.value) put_in(select.value); select.value = ""; };
    select.addEventListener("pointerdown", () => { pointed = true; });
    select.addEventListener("keydown", (event) => { pointed = false; if (event.key === "Enter") { event.preventDefault(); go(); } });
    select.addEventListener("change", () => { if (pointed) go(); });
    return h("div", { class: "field add" }, h("label", { for: id }, say("card.add_to", { name })), select, h("div", { class: "tools" }, h("button", { type: "button", class: "quiet", "aria-label": say("card.add_to", { name }), title: say("card.add"), onclick: go }, "+")));
  }
  if (!takesNames(schema)) return h("span");
  const input = h("input", { id, type: "text", autocomplete: "off", "data-add": JSON.stringify(path) });
  const go = () => { put_in(input.value); input.value = ""; };
  input.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); go(); } });
  return h("div", { class: "field add" }, h("label", { for: id }, say("card.new_in", { name })), input, h("div", { class: "tools" }, h("button", { type: "button", class: "quiet", "aria-label": say("card.new_in", { name }), title: say("card.add"), onclick: go }, "+")));
}

/** Begin a part of the book with the fields that it cannot do without, blank, and go to the first of them. */
function begin(book: Book, path: Path, schema: Schema | undefined): void {
  const map = takesText(schema) ? undefined : mapSchema(schema);
  const needed: string[] = (map?.required ?? []).filter((key: string) => takesText(under(schema, key)));
  book.set(path, map ? Object.fromEntries(needed.map((key) => [key, ""])) : listSchema(schema) && !takesText(schema) ? listSeed(schema!) : "");
  pending = JSON.stringify(needed.length ? [...path, needed[0]] : path);
}

function listSeed(schema: Schema): Value {
  const item = listSchema(schema)!.items;
  return mapSchema(item) && !takesText(item) ? [{ [keysOf(item)[0]]: "" }] : [""];
}

/** The path of a field that was just asked for: it takes the focus when it appears. */
let pending: string | null = null;

/** Keep a container of cards in step with the book: fields that stay keep their focus and what is being typed. */
export function keepInStep(book: Book, container: HTMLElement, make: () => (HTMLElement | null)[], watch: () => unknown): () => void {
  let shape: string | null = null;
  const refresh = () => {
    const now = JSON.stringify(watch(), (_, value) => (typeof value === "string" ? "" : Array.isArray(value) && value.every((part) => typeof part === "string") ? "" : value));
    if (now !== shape) {
      shape = now;
      rebuild();
    } else {
      for (const input of container.querySelectorAll<HTMLInputElement>("[data-path]")) {
        const value = book.at(JSON.parse(input.dataset.path!));
        if (input !== document.activeElement && input.value !== listText(value)) input.value = listText(value);
      }
    }
    markFaults(book, container);
  };
  const rebuild = () => {
    const active = document.activeElement as HTMLInputElement | null;
    const inside = active && container.contains(active);
    const path = inside ? active.dataset.path : undefined;
    const add = inside ? active.dataset.add : undefined;
    const spot = inside && "selectionStart" in active ? active.selectionStart : null;
    const typed = path ? active!.value : null;
    const open = new Set([...container.querySelectorAll("details[open]")].map((each) => (each as HTMLElement).dataset.name));
    const begun = new Map([...container.querySelectorAll<HTMLInputElement>("[data-add]")].map((each) => [each.dataset.add, each.value]));
    fill(container, ...make());
    for (const each of container.querySelectorAll<HTMLInputElement>("[data-add]")) each.value = begun.get(each.dataset.add) ?? "";
    for (const each of container.querySelectorAll("details")) if (open.has(each.dataset.name)) each.open = true;
    const wanted = pending ?? path;
    const found = wanted ? find(container, "path", wanted) ?? firstInside(container, wanted) : add ? find(container, "add", add) : null;
    if (found) {
      pending = null;
      if (typed !== null && found.dataset.path === path && found.tagName === "INPUT") found.value = typed;
      found.focus();
      if (spot !== null && found.tagName === "INPUT" && found.dataset.path === path) found.setSelectionRange(spot, spot);
    }
  };
  refresh();
  return refresh;
}

function find(container: HTMLElement, name: "path" | "add", wanted: string): HTMLInputElement | null {
  return [...container.querySelectorAll<HTMLInputElement>(`[data-${name}]`)].find((each) => each.dataset[name] === wanted) ?? null;
}

/** Return the first field of a part that was just asked for. */
function firstInside(container: HTMLElement, wanted: string): HTMLInputElement | null {
  const start = wanted.slice(0, -1);
  return [...container.querySelectorAll<HTMLInputElement>("[data-path], [data-add]")].find((each) => (each.dataset.path ?? each.dataset.add)!.startsWith(start)) ?? null;
}

export function markFaults(book: Book, container: HTMLElement): void {
  for (const input of container.querySelectorAll<HTMLInputElement>("[data-path]")) {
    const wrong = book.wrongIn(JSON.parse(input.dataset.path!));
    const note = document.getElementById(input.getAttribute("aria-describedby") ?? "");
    const text = wrong.map((finding) => finding.text).join(" ");
    if (note && note.textContent !== text) note.textContent = text;
    if (wrong.length) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
}

/** The sections of the book other than its lines, each behind its name. */
export function sectionsLeaf(book: Book): { element: HTMLElement; refresh: () => void } {
  const container = h("div", { class: "sections" });
  const root = at([])!;
  const heads = () => keysOf(root).filter((key) => takesText(under(root, key)) && key !== "book");
  const sections = () => keysOf(root).filter((key) => key !== "lines" && key !== "book" && !takesText(under(root, key)));
  const make = () => {
    const present = heads().filter((key) => book.at([key]) !== undefined);
    const head = h("details", { "data-name": "head", open: true }, h("summary", {}, say("card.head")),
      ...present.map((key) => editor(book, [key], under(root, key))),
      adder(book, [], { ...choices(root).find((each) => each.properties), properties: Object.fromEntries(heads().map((key) => [key, under(root, key)])) }, book.tree));
    return [head, ...sections().map((key) => section(book, key, under(root, key)))];
  };
  const refresh = keepInStep(book, container, make, () => ({ ...book.tree, lines: Object.keys(book.map(["lines"])).length, spoken: [...spokenOf(book, "stations"), "|", ...spokenOf(book, "features")].map((name) => ({ [name]: 0 })) }));
  book.on("chosen", () => {
    if (book.chosen[0] === "lines" || !book.chosen.length) return;
    for (const each of container.querySelectorAll("details")) if (each.dataset.name === book.chosen[0]) each.open = true;
    const wanted = firstInside(container, JSON.stringify(book.chosen));
    if (wanted && !container.contains(document.activeElement)) wanted.scrollIntoView({ block: "center" });
  });
  return { element: container, refresh };
}

/** Return the stations or features that lines speak of and that have no entry of their own yet. */
export function spokenOf(book: Book, section: "stations" | "features"): string[] {
  const lines = Object.entries(book.map(["lines"])) as [string, { details?: Value[] }][];
  const rows = lines.flatMap(([, line]) => (Array.isArray(line?.details) ? line.details : [])) as { [key: string]: Value }[];
  const spoken = section === "stations" ? [...lines.flatMap(([name]) => name.split("-")), ...rows.map((row) => row?.station)] : rows.map((row) => row?.feature);
  const known = book.map([section]);
  return [...new Set(spoken.filter((name): name is string => typeof name === "string" && name.trim() !== "" && !(name in known)))];
}

function section(book: Book, key: string, schema: Schema | undefined): HTMLElement {
  const value = book.at([key]);
  const count = isMap(value) ? Object.keys(value).length : Array.isArray(value) ? value.length : 0;
  const body: (HTMLElement | null)[] = [];
  const spoken = key === "stations" || key === "features" ? spokenOf(book, key) : [];
  const waiting = spoken.length ? h("div", { class: "row-buttons" }, ...spoken.map((name) => h("button", { type: "button", "aria-label": say("card.add_named", { name }), onclick: () => begin(book, [key, name], under(schema, name)) }, `+ ${name}`))) : null;
  if (isMap(value)) {
    body.push(...Object.keys(value).map((name) => editor(book, [key, name], under(schema, name), 1)), adder(book, [key], schema, value));
  } else if (Array.isArray(value) && !value.every((part) => typeof part === "string")) {
    body.push(listEditor(book, [key], schema, value, 0));
  } else if (listSchema(schema) && mapSchema(under(schema, 0))) {
    const first = keysOf(under(schema, 0))[0];
    body.push(h("button", { type: "button", onclick: () => { pending = JSON.stringify([key, 0, first]); book.append([key], { [first]: "" }); } }, say("card.add_to", { name: sayKey(key) })));
  } else {
    body.push(adder(book, [key], schema, {}));
  }
  return h("details", { "data-name": key }, h("summary", {}, sayKey(key), count ? h("span", { class: "count" }, ` ${count}`) : null), h("p", { class: "hint" }, about(schema)), ...body, waiting);
}

