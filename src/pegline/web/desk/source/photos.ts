// Images from the machine that shows the page, a telephone above all: sent into the desk's folder.

import { Book } from "./book";
import { h } from "./dom";
import { say } from "./words";

const KINDS = "image/jpeg,image/png,image/webp,image/gif,image/tiff,.tif,.tiff";

/** Return two buttons, the camera's and one for files; `taken` gets the name that the image has in the folder. */
export function photoButtons(book: Book, taken: (name: string) => void): HTMLElement {
  const said = h("p", { class: "fault", role: "status" });
  const send = async (input: HTMLInputElement) => {
    const file = input.files?.[0];
    input.value = "";
    if (!file) return;
    said.textContent = say("photo.sending");
    const name = file.name.replace(/[^\p{L}\p{N} ._-]/gu, "_").replace(/^[ .]+/, "").slice(-80) || "photo";
    try {
      const answer = await fetch(`/scan/${encodeURIComponent(name)}`, { method: "POST", headers: { "content-type": file.type.startsWith("image/") ? file.type : "image/tiff" }, body: file });
      const told = await answer.json();
      if (!answer.ok) throw new Error(told.fault);
      book.start.scans = told.scans;
      said.textContent = "";
      book.tell("scans");
      taken(told.name);
    } catch (error) {
      said.textContent = say("photo.failed", { reason: (error as Error).message });
    }
  };
  const button = (label: string, camera: boolean) => {
    const input: HTMLInputElement = h("input", { type: "file", accept: KINDS, capture: camera ? "environment" : null, hidden: true, "aria-label": label, onchange: () => send(input) });
    return [input, h("button", { type: "button", onclick: () => input.click() }, label)];
  };
  return h("div", { class: "photos" }, h("div", { class: "row-buttons" }, ...button(say("photo.camera"), true), ...button(say("photo.file"), false)), said);
}

/** Keep a list of the folder's images in step; the first entry is none of them. */
export function imageList(book: Book, id: string, none: string): HTMLSelectElement {
  const list = h("select", { id });
  const refresh = () => {
    const chosen = list.value;
    list.replaceChildren(h("option", { value: "" }, none), ...book.start.scans.map((name: string) => h("option", { value: name }, name)));
    list.value = chosen;
  };
  book.on("scans", refresh);
  refresh();
  return list;
}
