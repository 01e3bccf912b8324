// Handing over: each thing that a survey becomes is one button; the files land in a folder that is named.

import type { Message } from "./link";
import type { Link } from "./link";
import { fill, h, put } from "./dom";
import { say } from "./words";

type Key = Parameters<typeof say>[0];
const BUTTONS: [string, Key, Key?][] = [
  ["all", "hand.all"], ["dxf", "hand.dxf"], ["gpkg", "hand.gpkg"], ["plan", "hand.plan"], ["computation", "hand.computation"], ["points", "hand.points"],
  ["booking", "hand.booking"], ["area", "hand.area"], ["findpeg", "hand.findpeg", "hand.ask_peg"], ["setout", "hand.setout", "hand.ask_targets"],
];
const ASKS: Record<string, string> = { findpeg: "peg", setout: "targets" };

export class HandLeaf {
  readonly element = h("div", { class: "hand" });
  private readonly said = h("div", { class: "said", role: "status" });

  constructor(private readonly link: Link) {
    put(this.element, h("h2", {}, say("hand.title")), h("p", { class: "hint" }, say("hand.hint")), this.said);
    const list = h("div", { class: "hand-buttons" });
    for (const [what, label, asks] of BUTTONS) {
      const button = h("button", { type: "button", "data-hand": what, onclick: () => this.ask(what, label) }, say(label));
      if (!asks) { put(list, button); continue; }
      const input = h("input", { id: `hand-${what}`, type: "text", autocomplete: "off" });
      put(list, h("div", { class: "field asks" }, h("label", { for: input.id }, say(asks)), input, button));
    }
    put(this.element, list, h("p", { class: "caution" }, say("checks.caution")));
  }

  private ask(what: string, label: Key): void {
    const asked = ASKS[what] ? { [ASKS[what]]: (document.getElementById(`hand-${what}`) as HTMLInputElement).value } : {};
    this.link.send({ do: "hand", what, ...asked });
    fill(this.said, h("p", {}, say("hand.working", { what: say(label) })));
    this.said.scrollIntoView({ block: "nearest" });
  }

  handed(message: Message): void {
    const good = message.status === 0 || message.status === 1;
    fill(this.said,
      h("h3", {}, good ? (message.files.length ? say("hand.landed", { folder: message.folder }) : say("hand.done")) : say("hand.failed")),
      good && message.files.length ? h("ul", {}, ...message.files.map((name: string) => h("li", {}, name))) : null,
      message.status === 1 ? h("p", { class: "fault" }, say("hand.checks_failed")) : null,
      message.said.trim() ? h("pre", {}, message.said.trim()) : null);
    this.element.scrollIntoView({ block: "start" });
  }
}
