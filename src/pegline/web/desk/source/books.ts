// The shelf: the books of the folder, and a new one with its title, unit and tapes.

import type { Link, Message } from "./link";
import { fill, h, newId, put } from "./dom";
import { wordsOf, at } from "./schema";
import { say, sayKey } from "./words";

const UNITS = ["m", "ft", "ft-us", "lk", "yd"];

export function shelf(link: Link, start: Message, open: (name: string) => void): HTMLElement {
  const list = h("ul", { class: "shelf" });
  fill(list, ...start.books.map((name: string) => h("li", {}, h("button", { type: "button", onclick: () => open(name) }, name))));
  const field = (name: string, label: string, input: HTMLElement = h("input", { type: "text", autocomplete: "off" })) => {
    input.id = newId("new");
    input.setAttribute("name", name);
    return h("div", { class: "field" }, h("label", { for: input.id }, label), input);
  };
  const materials = wordsOf(at(["tapes", "x", "material"])) ?? ["fibreglass"];
  const title = h("input", { type: "text", autocomplete: "off" });
  const name = h("input", { type: "text", autocomplete: "off", required: true });
  let named = false; // by hand
  name.addEventListener("input", () => { named = true; });
  title.addEventListener("input", () => { if (!named) name.value = title.value.trim().replace(/[^\p{L}\p{N} _-]/gu, "").slice(0, 60).trim(); });
  const form = h("form", { class: "new-book", autocomplete: "off" },
    h("h2", {}, say("shelf.new")),
    field("title", sayKey("title"), title), field("name", say("shelf.name"), name), field("place", sayKey("place")),
    field("unit", sayKey("unit"), h("select", {}, ...UNITS.map((unit) => h("option", { value: unit }, unit)))),
    field("material", say("shelf.tape"), h("select", {}, ...materials.map((each) => h("option", { value: each, selected: each === "fibreglass" }, each)))),
    field("length", say("shelf.tape_length"), h("input", { type: "text", inputmode: "decimal", autocomplete: "off", pattern: ".*[0-9].*", title: say("shelf.length_like") })),
    h("button", { type: "submit", class: "main" }, say("shelf.begin")));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const given = Object.fromEntries(new FormData(form)) as Record<string, string>;
    const today = new Date();
    const date = `${today.getFullYear()}-${String(today.getMonth() + 1).padStart(2, "0")}-${String(today.getDate()).padStart(2, "0")}`;
    const head: Record<string, unknown> = { unit: given.unit, date };
    for (const key of ["title", "place"]) if (given[key].trim()) head[key] = given[key].trim();
    if (given.length.trim()) Object.assign(head, { tapes: { tape: { material: given.material, length: given.length.trim() } }, default_tape: { lines: "tape", offsets: "tape" } });
    link.send({ do: "new", name: given.name, head });
  });
  const element = h("div", { class: "leaf shelf-leaf" });
  put(element, h("h2", {}, say("shelf.title", { folder: start.folder })), start.books.length ? list : h("p", { class: "hint" }, say("shelf.empty")), form);
  return element;
}
